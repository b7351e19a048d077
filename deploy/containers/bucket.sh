#!/bin/sh
# Makes the bucket of the photos, and the account that the program has at the storage: it may read, write and delete
# what is in that bucket, and nothing else. Run at each start; what is there already stays.
set -eu
mc alias set store http://storage:9000 "$MINIO_ROOT_USER" "$MINIO_ROOT_PASSWORD"
mc mb --ignore-existing store/photos
mc admin user add store "$S3_ACCESS_KEY" "$S3_SECRET_KEY"
mc admin policy create store photos /etc/testround/bucket-policy.json
# Giving a policy that somebody has already is an error to some versions.
mc admin policy attach store photos --user "$S3_ACCESS_KEY" ||
  mc admin user info store "$S3_ACCESS_KEY" | grep -q photos
