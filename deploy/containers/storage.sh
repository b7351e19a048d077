#!/bin/sh
# Starts SeaweedFS as S3-compatible storage with one account, the program's, which may do with what is in the bucket of
# the photos what bucket-policy.json says, and nothing else; there is no other account, and nobody is let in without
# one. Only S3 is reached from outside the container. Makes the bucket where there is none yet.
set -eu
umask 077
for name in S3_ACCESS_KEY S3_SECRET_KEY; do
  eval "value=\$$name"
  case "$value" in
    "" | *[!A-Za-z0-9_-]*) echo "$name: write letters and digits" >&2; exit 1 ;;
  esac
done
policy=$(tr -d '\n' < "${POLICY:-/etc/testround/bucket-policy.json}" | sed 's/"/\\"/g')
cat > "${SETTINGS:=/tmp/s3.json}" <<JSON
{
  "identities": [
    {
      "name": "testround",
      "credentials": [{"accessKey": "$S3_ACCESS_KEY", "secretKey": "$S3_SECRET_KEY"}],
      "policyNames": ["photos"]
    }
  ],
  "policies": [{"name": "photos", "content": "$policy"}]
}
JSON
unset S3_SECRET_KEY
# Beside S3 there is a door by which its accounts are changed, and which is open to all where no such key is set.
WEED_JWT_FILER_SIGNING_KEY=$(od -An -N32 -tx1 /dev/urandom | tr -d ' \n')
export WEED_JWT_FILER_SIGNING_KEY

MASTER=${MASTER_PORT:-9333} FILER=${FILER_PORT:-8888} MADE=${MADE:-/tmp/bucket-made}
rm -f "$MADE"
# There is a bucket, and what holds the photos is known to what looks for them: before, reading one fails.
made() {
  said=$(printf 's3.bucket.create -name photos\nfs.ls /buckets\nvolume.list\n' |
    timeout 20 weed shell -master="127.0.0.1:$MASTER" -filer="127.0.0.1:$FILER" 2>&1)
  printf '%s\n' "$said" | grep -qx photos && printf '%s\n' "$said" | grep -q '^Topology.*(volume:'
}
# By a process that the container's first one inherits and clears away.
({ until made; do sleep 1; done; touch "$MADE"; } &)

# A photo has some megabytes, and there is one server: small volumes, no wait for others to be elected, none for those
# who would have to hear that this one goes. Nothing is reported to anybody.
exec weed -logtostderr=true server -dir="${DATA:-/data}" -ip=127.0.0.1 -ip.bind=127.0.0.1 \
  -master.port="$MASTER" -master.electionTimeout=1s -master.volumeSizeLimitMB=1024 -master.telemetry=false \
  -volume.port="${VOLUME_PORT:-8080}" -volume.max=0 -volume.preStopSeconds=1 -filer -filer.port="$FILER" \
  -s3 -s3.ip.bind=0.0.0.0 -s3.port="${S3_PORT:-8333}" -s3.iam=false -s3.port.iceberg=0 -s3.port.lance=0 \
  -s3.config="$SETTINGS"
