#!/bin/sh
# Prints code and memory of the jig on a Cortex-M3, what a sample costs, and how fast one can sample.
set -eu
here=$(dirname "$0")
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
sh "$here/build.sh" "$dir/jig.elf"
sh "$here/build.sh" "$dir/count.elf" count.c
"${CROSS:-arm-none-eabi-}size" "$dir/jig.elf" |
    awk 'NR == 2 { printf "code and constants: %d bytes\nmemory: %d bytes, and the stack\n", $1 + $2, $2 + $3 }'
# An instruction lasts 1 ns here, and a tick of the core's timer 40 ns.
timeout 120 qemu-system-arm -M mps2-an385 -display none -monitor none -serial stdio -semihosting \
    -icount shift=0 -kernel "$dir/count.elf" </dev/null >"$dir/count.txt"
awk '{
    each = $4 * 40 / $2
    printf "instructions a sample: %.1f\ninstructions for the reading after the window: %d\n", each, $6 * 40
    printf "largest sampling rate at 48 MHz: %d kHz, at 2 cycles an instruction and half of the time for the rest\n", 48000 / (2 * each) / 2
    printf "time for the reading after the window at 48 MHz: %d ms at 2 cycles an instruction\n", $6 * 40 * 2 / 48000
}' "$dir/count.txt"
