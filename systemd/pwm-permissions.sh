#!/bin/sh
# Hands the channels of every PWM chip to one group: pwm-permissions GROUP [ROOT]. Run as root before the light guard.
# The kernel makes a channel's files when the channel is exported, for root alone. Exporting makes no pulses.
set -eu
group=$1
root=${2:-}

for chip in "$root"/sys/class/pwm/pwmchip*; do
    [ -d "$chip" ] || continue # no chip at all: the guard says so, with the remedy
    chgrp "$group" "$chip/export" "$chip/unexport"
    chmod 0220 "$chip/export" "$chip/unexport"
    channels=$(cat "$chip/npwm")
    channel=0
    while [ "$channel" -lt "$channels" ]; do
        if [ ! -d "$chip/pwm$channel" ]; then
            # A channel the kernel itself uses (a fan, say) is busy and stays as it is.
            echo "$channel" 2>/dev/null >"$chip/export" || true
        fi
        for file in enable duty_cycle period polarity; do
            if [ -e "$chip/pwm$channel/$file" ]; then
                chgrp "$group" "$chip/pwm$channel/$file"
                chmod 0664 "$chip/pwm$channel/$file"
            fi
        done
        channel=$((channel + 1))
    done
done
