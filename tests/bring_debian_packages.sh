#!/bin/sh
# What the tests need of Debian besides Python: brings it where it may, says what to install where it may not.
# chromium without a window, and libatomic1 for what drives it: the page's tests. ngspice: the circuits' tests. openscad, xvfb: the
# printed parts, and their pictures.
set -eu
missing=
for pair in chromium-headless-shell:chromium-headless-shell ngspice:ngspice openscad:openscad Xvfb:xvfb xauth:xauth; do
    command -v "${pair%%:*}" >/dev/null || missing="$missing ${pair##*:}"
done
ls /lib/*/libatomic.so.1 /usr/lib/*/libatomic.so.1 >/dev/null 2>&1 || missing="$missing libatomic1"
[ -z "$missing" ] && exit 0
if [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then
    echo "installing for the tests:$missing"
    export DEBIAN_FRONTEND=noninteractive
    # shellcheck disable=SC2086
    apt-get update -qq && apt-get install -y -qq --no-install-recommends $missing >/dev/null
else
    echo "the tests need packages; as root: apt-get install$missing" >&2
    exit 2
fi
