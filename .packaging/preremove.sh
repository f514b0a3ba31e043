#!/bin/sh
# dpkg says "remove" and rpm 0 when it goes for good; both say something else when
# another version comes, which restarts it.
set -e

case "$1" in
  remove | 0)
    if [ -d /run/systemd/system ]; then
      systemctl disable --now weald.service || true
    fi
    ;;
esac
