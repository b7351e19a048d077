#!/bin/sh
# Starts Redis with one user, who has a password and may do all that has to do with keys and queues, and nothing with
# the server itself, but to see how it is and to empty its own database, as after a restore. What else it is started
# with follows.
set -eu
umask 077
hashed=$(printf %s "${REDIS_PASSWORD:?}" | sha256sum | cut -d' ' -f1)
cat > users.acl <<ACL
user default off
user testround on #$hashed ~* &* +@all -@admin -@dangerous +info +flushdb
ACL
exec redis-server --aclfile "$PWD/users.acl" --save "" --appendonly no "$@"
