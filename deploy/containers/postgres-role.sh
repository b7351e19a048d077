#!/bin/sh
# Run once by PostgreSQL's image, when its volume is new: makes the role of the program and the database that it owns,
# and closes everything else. The server's own role, `postgres`, keeps no password, so that nobody is let in as it but
# on the server itself: docker compose exec postgres psql -U postgres
set -eu
psql --no-psqlrc --quiet --set=ON_ERROR_STOP=1 --username="$POSTGRES_USER" --dbname=postgres <<'SQL'
\getenv password TESTROUND_PASSWORD
CREATE ROLE testround LOGIN PASSWORD :'password'
  NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS;
CREATE DATABASE testround OWNER testround ENCODING 'UTF8' TEMPLATE template0;
REVOKE ALL ON DATABASE testround, postgres, template1 FROM PUBLIC;
ALTER ROLE CURRENT_USER PASSWORD NULL;
SQL
