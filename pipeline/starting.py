"""A stage handed over to a process of the run that has loaded already what stages load (`pipeline.cli.starter`).

The start of a stage is mostly the loading of libraries: half a second to a second of each of a run's jobs, once for every test. So
a run keeps one process that loads them, and forks itself for each stage. The command that the engine starts, and whose end it
waits for, stays: it hands its arguments, environment, folder and open files over, passes signals on, and ends as the stage ended.
Where there is no such process, or it declines, the command is the stage itself, as it is outside of a run. Nothing is imported
here that a start does not need.
"""

from __future__ import annotations

import os

PLACE = "STOPSHEET_STARTER"  # name of the process's socket, in its run's environment
OFF = "off"  # there: none is wanted
ENGINE = "STOPSHEET_ENGINE"  # the process that starts the stages, set by the Snakefile
TAKEN, DECLINED = b"y", b"n"
HEAD = 8  # bytes that say how long the message is that follows
STATUS = 4  # bytes of the answer: how the stage ended, as `waitpid` has it


def handed_over(arguments: list[str]) -> int | None:
    """The exit code of a stage that ran elsewhere; None where nobody took it. Ends by the signal that ended the stage."""
    place = os.environ.get(PLACE)
    if not place or place == OFF or os.environ.get(ENGINE) != str(os.getppid()):
        return None
    import marshal
    import signal
    import socket
    import struct

    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    stopping = [
        one for one in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP) if signal.getsignal(one) != signal.SIG_IGN
    ]
    heard: list[int] = []
    taken = False

    def stop(number: int, _: object) -> None:
        heard.append(number)
        if taken:
            connection.sendall(bytes([number]))

    kept = {one: signal.signal(one, stop) for one in stopping}
    try:
        connection.connect(f"\0{place}")
        _, user, _ = struct.unpack(
            "3i", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
        )
        if user != os.getuid():
            return None
        message = marshal.dumps((arguments, os.getcwdb(), dict(os.environb)))
        socket.send_fds(connection, [len(message).to_bytes(HEAD, "little")], [0, 1, 2])
        connection.sendall(message)
        if connection.recv(1) != TAKEN:
            return None
        taken = True
        connection.sendall(bytes(heard))
        status = b""
        while len(status) < STATUS:
            part = connection.recv(STATUS - len(status))
            if not part:
                raise ConnectionResetError
            status += part
    except OSError:
        if taken:  # whoever took it is gone, and the stage with it
            os.kill(os.getpid(), signal.SIGKILL)
        return None
    finally:
        for one, handler in kept.items():
            signal.signal(one, handler)
        connection.close()
        if not taken:  # it ends the stage that runs here
            for number in heard:
                os.kill(os.getpid(), number)
    code = os.waitstatus_to_exitcode(int.from_bytes(status, "little"))
    if code < 0:
        if -code != signal.SIGKILL:
            signal.signal(-code, signal.SIG_DFL)
        os.kill(os.getpid(), -code)
    return code
