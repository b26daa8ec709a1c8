#!/bin/sh
# Builds the jig for the emulated board: build.sh OUT.elf [board.c]
set -eu
here=$(dirname "$0")
out=$1
main=${2:-board.c}
cc=${CROSS:-arm-none-eabi-}gcc
exec "$cc" -mcpu=cortex-m3 -mthumb -O2 -std=c99 -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Werror \
    -ffreestanding -fno-tree-loop-distribute-patterns -ffunction-sections -fdata-sections \
    -nostdlib -nostartfiles -Wl,--gc-sections -T "$here/mps2.ld" -isystem "$here" \
    -o "$out" "$here/$main" "$here/mps2.c" "$here/string.c" "$here/../jig.c" "$here/../level.c" -lgcc
