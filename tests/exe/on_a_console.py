#!/usr/bin/env python3
"""on_a_console.py COMMAND...: runs a program on a console of its own, as a double click starts it, presses
Enter where it asks for that, and prints what the console showed, as plain text."""
import fcntl
import os
import pty
import re
import select
import struct
import sys
import termios
import time
import tty

LONGEST_SECONDS = 120
ASKED = "Press Enter"


def plain(shown):
    """Text without the sequences that move the cursor: a step to the right is a blank."""
    text = shown.decode("utf-8", "replace")
    text = re.sub(r"\x1b\[(\d*)C", lambda step: " " * int(step[1] or 1), text)
    text = re.sub(r"\x1b\][^\x07]*\x07|\x1b\[[0-9;?]*[A-Za-z]", "", text)
    return text.replace("\r", "")


def main():
    child, screen = pty.fork()
    if child == 0:
        tty.setraw(0)  # Enter arrives as Enter
        os.execvp(sys.argv[1], sys.argv[1:])
    fcntl.ioctl(screen, termios.TIOCSWINSZ, struct.pack("HHHH", 50, 200, 0, 0))
    shown, pressed, until = b"", False, time.monotonic() + LONGEST_SECONDS
    while time.monotonic() < until:
        if not select.select([screen], [], [], 1.0)[0]:
            continue
        try:
            more = os.read(screen, 65536)
        except OSError:  # the other end is closed
            break
        if not more:
            break
        shown += more
        if not pressed and ASKED in plain(shown):
            os.write(screen, b"\r")
            pressed = True
    else:
        os.kill(child, 9)
    print(plain(shown))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


sys.exit(main())
