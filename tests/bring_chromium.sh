#!/bin/sh
# Debian's own browser for the page's tests: brings it where it may, says what to install where it may not.
set -eu
command -v chromium >/dev/null && exit 0
if [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then
    echo "installing chromium for the page's tests"
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -qq && apt-get install -y -qq --no-install-recommends chromium >/dev/null
else
    echo "the page's tests need the package chromium; as root: apt-get install chromium" >&2
    exit 2
fi
