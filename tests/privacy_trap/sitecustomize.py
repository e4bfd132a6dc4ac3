"""Loaded by every Python that starts with this folder in PYTHONPATH: notes and refuses what reaches out.

Each line of the file $VOICENOTES_TRAP is one event: its kind, its process, and details. Sockets of the
internet are refused with an OSError, as without a network. One caller's socket is noted as a probe: urllib3,
which comes with spaCy, asks when it is loaded whether the system has IPv6, by binding to its own address;
nothing is sent.
"""

import os
import sys

_LOG = os.open(os.environ["VOICENOTES_TRAP"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
_REACHING_OUT = (
    "socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg", "socket.getaddrinfo",
    "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo", "socket.gethostname",
    "urllib.Request", "http.client.connect", "ftplib.connect", "smtplib.connect",
)  # fmt: skip
_STARTING = (
    "subprocess.Popen",
    "os.exec",
    "os.posix_spawn",
    "os.spawn",
    "os.system",
    "os.startfile",
    "pty.spawn",
)
_CHANGING = (
    "os.mkdir",
    "os.rename",
    "os.remove",
    "os.rmdir",
    "os.link",
    "os.symlink",
    "os.truncate",
    "os.chmod",
)
_WRITE = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_UNIX = 1


def _note(kind: str, details: object) -> None:
    line = ascii((kind, os.getpid(), details))
    os.write(_LOG, line.encode() + b"\n")


def _is_probe() -> bool:
    frame = sys._getframe(3)  # socket.__init__, and who called it
    return (
        frame.f_code.co_name == "_has_ipv6" and frame.f_globals.get("__name__") == "urllib3.util.connection"
    )


def _watch(event: str, args: tuple) -> None:
    if event == "open":
        path, mode, flags = args
        if isinstance(path, (str, bytes)) and ((flags or 0) & _WRITE or (mode and set(mode) & set("wax+"))):
            _note("write", os.path.abspath(os.fsdecode(path)))  # noqa: PTH100 (a link is not followed)
    elif event == "socket.__new__":
        family = int(args[1])
        _note("probe" if _is_probe() else "socket", family)
        if family not in (_UNIX, -1):
            raise OSError(101, "network is unreachable: refused by the test's trap")
    elif event in _REACHING_OUT:
        _note("reach", (event, ascii(args[-1])[:200]))
        raise OSError(101, "network is unreachable: refused by the test's trap")
    elif event in _STARTING:
        _note("start", (event, ascii(args[:2])[:500]))
    elif event in _CHANGING:
        paths = [path for path in args if isinstance(path, (str, bytes, os.PathLike))]
        handles = [number for number in args[len(paths) :] if isinstance(number, int)]
        folder = handles[-1] if handles and event != "os.truncate" and event != "os.chmod" else -1
        for path in paths:
            home = os.readlink(f"/proc/self/fd/{folder}") if folder > 2 else os.getcwd()  # noqa: PTH109, PTH115
            _note("write", os.path.normpath(os.path.join(home, os.fsdecode(path))))  # noqa: PTH118


_note("python", sys.argv)
sys.addaudithook(_watch)
