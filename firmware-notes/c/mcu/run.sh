#!/bin/sh
# Runs the jig on the emulated board: run.sh JIG.elf TAPE BOOT. The emulator prints the
# pseudo-terminal that is its serial line. BOOT is a number that was never used before.
set -eu
exec qemu-system-arm -M mps2-an385 -display none -monitor none -serial pty -kernel "$1" \
    -device loader,file="$2",addr=0x21000000,force-raw=on \
    -device loader,addr=0x203FFFF0,data="$3",data-len=4
