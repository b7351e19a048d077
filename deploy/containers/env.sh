#!/bin/sh
# Writes .env for docker compose, with secrets of its own that nobody else has: deploy/containers/env.sh
set -eu
cd "$(dirname "$0")/../.."
if [ -e .env ]; then
  echo "There is a .env already, and it stays as it is. Take it away first to have another." >&2
  exit 1
fi
umask 077
# So many random bytes, as letters and digits: some stand in addresses.
secret() { od -An -N"$1" -tx1 /dev/urandom | tr -d ' \n'; }
cat > .env <<ENV
SECRET_KEY=$(secret 32)
POSTGRES_PASSWORD=$(secret 20)
REDIS_PASSWORD=$(secret 20)
S3_SECRET_KEY=$(secret 20)
ENV
echo "Wrote .env. Now: docker compose up"
