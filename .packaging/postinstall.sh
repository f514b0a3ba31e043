#!/bin/sh
# Runs after the files are there, by dpkg and rpm alike.
set -e

if ! getent passwd weald >/dev/null; then
  useradd --system --user-group --home-dir /var/lib/weald --no-create-home --shell /usr/sbin/nologin \
    --comment "Weald" weald
fi
for group in dialout bluetooth; do
  if getent group "$group" >/dev/null; then
    usermod --append --groups "$group" weald
  fi
done

# Secrets may lie beside the configuration, which the pages write for whoever may.
chown root:weald /etc/weald
chgrp weald /etc/weald/weald.yaml
chmod 2770 /etc/weald
chmod 0660 /etc/weald/weald.yaml

if [ -d /run/systemd/system ]; then
  systemctl daemon-reload
  if command -v udevadm >/dev/null; then
    udevadm control --reload || true
    udevadm trigger --subsystem-match=tty || true
  fi
  systemctl try-restart weald.service # an upgrade
fi
# dpkg tells which version was there before, and rpm how many there are now.
case "$1:$2" in
  configure:?* | [2-9]:*) exit 0 ;;
esac
echo "weald: write /etc/weald/weald.yaml for your sensors, and then: systemctl enable --now weald"
