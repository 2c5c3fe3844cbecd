#!/bin/sh
# Called by `wattsump log --alarm-command`. Everything it may know is in variables; quote them.
set -eu
case "$WATTSUMP_EVENT/$WATTSUMP_LEVEL" in
raised/alarm) lamp=on ;;
seen/* | over/*) lamp=off ;;
*) lamp=same ;;
esac
# Replace this line by what switches your lamp or siren.
printf '%s %s\n' "$lamp" "$WATTSUMP_TEXT" >>"${ALARM_LIST:-/var/lib/wattsump/alarms.txt}"
