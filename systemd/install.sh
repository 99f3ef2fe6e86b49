#!/bin/sh
# Installs tapetum on a handheld: systemd/install.sh [--root DIR] [--files-only]
# May be run again at any time: it replaces what is its own and leaves /etc/tapetum as it finds it.
#   --root DIR     put everything below DIR instead of /, and start nothing
#   --files-only   no Python environment
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
root=
files_only=no

refuse() { # what, remedy
    echo "install.sh: $1; $2" >&2
    exit 2
}

while [ $# -gt 0 ]; do
    case $1 in
    --root)
        [ $# -ge 2 ] || refuse "--root names no folder" "write --root DIR"
        [ -d "$2" ] || refuse "no such folder: $2" "make it first"
        root=$(CDPATH='' cd -- "$2" && pwd)
        shift
        ;;
    --files-only) files_only=yes ;;
    *) refuse "unknown option: $1" "known: --root DIR, --files-only" ;;
    esac
    shift
done

put() { # mode, source, target
    if cmp -s "$here/$2" "$root$3"; then
        chmod "$1" "$root$3"
    else
        install -D -m "$1" "$here/$2" "$root$3"
        echo "installed $3"
    fi
}

put_once() { # mode, source, target that belongs to the builder
    [ -e "$root$3" ] || put "$1" "$2" "$3"
}

environment() {
    venv=$root/opt/tapetum/venv
    python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' || refuse "python3 is too old" "Python 3.11 or newer is needed"
    python3 -c 'import ensurepip' 2>/dev/null || refuse "python3 has no venv module" "apt-get install python3-venv"
    if [ -z "$root" ]; then
        python3 -c 'import picamera2' 2>/dev/null || refuse "picamera2 is missing" "apt-get install python3-picamera2"
    fi
    [ -f "$here/../web_ui/static/libraries/.ready" ] || refuse "the page's libraries are missing" "run make libraries in the checkout"
    # picamera2 must match the system's libcamera, so it comes from the system and not from a package registry.
    [ -x "$venv/bin/python" ] || python3 -m venv --system-site-packages "$venv"
    # From a fresh copy, because a build in place would take modules that are long deleted from an earlier one along.
    copy=$(mktemp -d)
    trap 'rm -rf "$copy"' EXIT
    tar -C "$here/.." --exclude=node_modules --exclude=__pycache__ -cf - pyproject.toml README.md LICENSE shared device web_ui hardware |
        tar -C "$copy" -xf -
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --upgrade "$copy[board]"
}

start() {
    systemd-sysusers tapetum.conf
    systemd-tmpfiles --create tapetum.conf
    udevadm control --reload
    udevadm trigger --subsystem-match=gpio --subsystem-match=dma_heap --subsystem-match=media --subsystem-match=video4linux
    systemctl daemon-reload
    systemctl enable --quiet tapetum.target
    echo "ready: compare /boot/firmware/config.txt with /usr/local/lib/tapetum/boot-config.txt, restart the board;"
    echo "the page answers where /etc/tapetum/web.conf says"
}

[ -n "$root" ] || [ "$(id -u)" = 0 ] || refuse "this needs root" "run it with sudo, or with --root DIR"

for unit in tapetum.target tapetum-light.service tapetum-imager.service tapetum-web.service; do
    put 0644 "$unit" "/etc/systemd/system/$unit"
done
put 0644 tapetum.sysusers /usr/lib/sysusers.d/tapetum.conf
put 0644 tapetum.tmpfiles /usr/lib/tmpfiles.d/tapetum.conf
put 0644 60-tapetum.rules /etc/udev/rules.d/60-tapetum.rules
put 0644 watchdog.conf /etc/systemd/system.conf.d/tapetum-watchdog.conf
put 0755 pwm-permissions.sh /usr/local/lib/tapetum/pwm-permissions
put 0644 boot-config.txt /usr/local/lib/tapetum/boot-config.txt
put_once 0644 settings.toml /etc/tapetum/settings.toml
put_once 0644 web.conf /etc/tapetum/web.conf

[ "$files_only" = yes ] || environment
[ -n "$root" ] || start
