#!/bin/sh
# The record stays, and its user with it: it is of patients, and no package's to delete.
set -e

if [ -d /run/systemd/system ]; then
  systemctl daemon-reload
fi
case "$1" in
  purge | 0)
    if [ -d /var/lib/weald ]; then
      echo "weald: the record in /var/lib/weald was left; delete it where policy allows"
    fi
    ;;
esac
