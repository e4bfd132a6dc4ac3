"""Nothing leaves the machine: a visit of real speech is processed while every way out is watched and shut.

Three traps, each with a control that shows that it catches: an audit hook in every Python process, which
refuses sockets and notes what is written and started; `strace`, which sees what libraries do past Python; and
a network namespace without interfaces, in which the record must come out the same.
"""

from __future__ import annotations

import ast
import functools
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
import tiny_whisper
from small_pack import write_pack

from voicenotes.speech.moonshine_model import model_folder

pytestmark = [
    pytest.mark.audio,
    pytest.mark.skipif(shutil.which("flite") is None, reason="flite is not installed: it speaks the memos"),
]
TRAP = Path(__file__).parent / "privacy_trap"
ROOT = Path(__file__).parent.parent
SENTENCES = ("The spindle growls.", "The coolant tank leaks. The tailstock is fine.")
PROCESS = """
import sys
from voicenotes import process_visit
visit, pack, engine, *model = sys.argv[1:]
record = process_visit(visit, pack, engine, model[0] if model else None)
assert all(entry.words and entry.problem is None for entry in record.recordings), record.recordings
"""
# Ways out that the controls take; each must be caught.
WAYS_OUT = {
    "a socket": "import socket; socket.create_connection(('127.0.0.1', 9), 1)",
    "a name": "import socket; socket.getaddrinfo('example.com', 80)",
    "a request": "import urllib.request; urllib.request.urlopen('http://127.0.0.1:9/', timeout=1)",
    "a datagram": "import socket as s; s.socket(s.AF_INET, s.SOCK_DGRAM).sendto(b'x', ('127.0.0.1', 9))",
    "a child": (
        "import subprocess, sys; subprocess.run([sys.executable, '-c', "
        "'import socket; socket.create_connection((\\\"127.0.0.1\\\", 9), 1)'], check=True)"
    ),
}
PAST_PYTHON = "import ctypes; libc = ctypes.CDLL(None, use_errno=True); assert libc.socket(2, 2, 0) >= 0"


@dataclass(frozen=True)
class Seen:
    """What a run did: exit code, its error output, the trap's events, what strace saw, the record."""

    code: int
    errors: str
    events: tuple[tuple[str, int, object], ...]
    traced: str
    record: bytes

    def of(self, kind: str) -> list[object]:
        return [details for name, _, details in self.events if name == kind]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with memos spoken by flite, a pack, a tiny Whisper model, and a home of its own."""
    folder = tmp_path_factory.mktemp("private")
    (folder / "memos").mkdir()
    for number, sentence in enumerate(SENTENCES):
        name = folder / "memos" / f"2024-03-12 09-0{number}-00.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", sentence, "-o", str(name)], check=True)
    (folder / "memos" / "2024-03-12 09-09-00.txt").write_text("The quill is stuck.")
    write_pack(folder / "pack")
    tiny_whisper.build(folder / "model")
    return folder


def environment(home: Path, log: Path) -> dict[str, str]:
    """A clean environment: the trap first, caches and home in `home`, nothing that says "offline"."""
    kept = {
        name: value for name, value in os.environ.items() if not name.startswith(("HF_", "XDG_", "PYTHON"))
    }
    return {
        **kept, "PYTHONPATH": os.pathsep.join((str(TRAP), str(ROOT))), "VOICENOTES_TRAP": str(log),
        "HOME": str(home / "home"), "XDG_CACHE_HOME": str(home / "cache"),
        "XDG_DATA_HOME": str(home / "data"),
        "PYTHONDONTWRITEBYTECODE": "1", "TMPDIR": str(home / "tmp"),
    }  # fmt: skip


def run(home: Path, name: str, code: str, *words: str, before: tuple[str, ...] = ()) -> Seen:
    """Run Python code in the trap, behind the command `before`; the visit is `home/name`, if there is one."""
    log, trace = home / f"{name}.trap", home / f"{name}.strace"
    (home / "tmp").mkdir(exist_ok=True)
    command = [part.replace("TRACE", str(trace)) for part in before]
    done = subprocess.run(
        [*command, sys.executable, "-c", code, *words],
        capture_output=True, text=True, env=environment(home, log), cwd=home, check=False,
    )  # fmt: skip
    events = [ast.literal_eval(line) for line in log.read_text().splitlines()] if log.exists() else []
    record = home / name / "record.json"
    return Seen(
        done.returncode, done.stderr, tuple(events), trace.read_text() if trace.exists() else "",
        record.read_bytes() if record.exists() else b"",
    )  # fmt: skip


def processed(home: Path, name: str, engine: str, before: tuple[str, ...] = ()) -> Seen:
    """Process a fresh copy of the memos with an engine."""
    shutil.copytree(home / "memos", home / name)
    model = [str(home / "model")] if engine == "whisper" else []
    return run(home, name, PROCESS, str(home / name), str(home / "pack"), engine, *model, before=before)


ENGINES = ("embedded", "whisper", *(["moonshine"] if model_folder() else []))
STRACE = (
    "strace", "-f", "--seccomp-bpf", "-qq", "-s", "300", "-o", "TRACE",
    "-e", "trace=socket,connect,bind,sendto,sendmsg,openat,open,creat,mkdir,mkdirat,"
    "rename,renameat,renameat2",
)  # fmt: skip
UNSHARE = ("unshare", "--map-root-user", "--net")


@functools.cache
def works(*command: str) -> bool:
    """Whether a trap can be laid on this machine at all."""
    try:
        return (
            subprocess.run([*command, "true"], capture_output=True, timeout=60, check=False).returncode == 0
        )
    except (OSError, subprocess.TimeoutExpired):
        return False


def needs(*command: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    bare = tuple(part if part != "TRACE" else os.devnull for part in command)
    reason = f"{command[0]} is not here, or not allowed to this user"
    return pytest.mark.skipif(not works(*bare), reason=reason)  # type: ignore[return-value]


def allowed(home: Path, name: str, path: str) -> bool:
    """Whether a path may be written: visit, cache, temporary files, and what is no file on a disk."""
    places = (home / name, home / "cache", home / "tmp")
    return path.startswith(
        ("/dev/null", "/dev/shm/__KMP_REGISTERED_LIB_", "/dev/shm/sem.", "/proc/self/")
    ) or any(Path(path).is_relative_to(place) for place in places)


@pytest.mark.parametrize("engine", ENGINES)
def test_no_python_process_reaches_out_or_writes_elsewhere(home: Path, engine: str) -> None:
    name = f"hooked-{engine}"
    seen = processed(home, name, engine)
    assert seen.code == 0, seen.errors
    assert seen.record
    assert seen.of("reach") == []
    assert [family for family in seen.of("socket") if family != 1] == []
    assert [path for path in seen.of("write") if not allowed(home, name, str(path))] == []
    assert any(str(path).startswith(str(home / name)) for path in seen.of("write"))
    # every program that was started is this Python, and loaded the trap
    started = [str(details) for details in seen.of("start")]
    assert [text for text in started if repr(sys.executable)[1:-1] not in text] == []
    assert len({pid for kind, pid, _ in seen.events if kind == "python"}) >= 1 + len(started)


@pytest.mark.parametrize("way", WAYS_OUT)
def test_the_hook_catches_every_way_out(home: Path, way: str) -> None:
    seen = run(home, f"way-{way.replace(' ', '-')}", WAYS_OUT[way])
    assert seen.code != 0
    assert seen.of("reach") or [family for family in seen.of("socket") if family != 1]


def test_the_hook_sees_what_is_written(home: Path) -> None:
    seen = run(home, "written", "import os, sys; open(os.path.expanduser('~') + '.x', 'w'); os.mkdir('sub')")
    written = [str(path) for path in seen.of("write")]
    assert written == [str(home / "home.x"), str(home / "sub")]
    assert not any(allowed(home, "written", path) for path in written)


def reached(trace: str) -> list[str]:
    """The lines of a trace in which a socket of the internet is made or used."""
    return [line for line in trace.splitlines() if re.search(r"\bAF_INET6?\b|\bAF_PACKET\b", line)]


def written(trace: str) -> set[str]:
    """The paths that a trace shows as opened for writing, made or renamed, where that worked."""
    paths: set[str] = set()
    for line in trace.splitlines():
        if " = -1 " in line or not re.search(r"O_WRONLY|O_RDWR|O_CREAT|mkdir|rename|creat\(", line):
            continue
        paths.update(re.findall(r'"((?:/)[^"]*)"', line))
    return paths


@needs(*STRACE)
@pytest.mark.parametrize("engine", ENGINES)
def test_no_library_reaches_out_or_writes_elsewhere(home: Path, engine: str) -> None:
    name = f"traced-{engine}"
    seen = processed(home, name, engine, before=STRACE)
    assert seen.code == 0, seen.errors
    assert reached(seen.traced) == []
    paths = written(seen.traced)
    assert [path for path in paths if not allowed(home, name, path) and not path.endswith(".trap")] == []
    assert any(path.startswith(str(home / name)) for path in paths)


@needs(*STRACE)
def test_strace_sees_a_socket_made_past_python(home: Path) -> None:
    seen = run(home, "past", PAST_PYTHON, before=STRACE)
    assert seen.code == 0, seen.errors
    assert seen.of("socket") == []  # the audit hook is blind to it
    assert reached(seen.traced)


@needs(*UNSHARE)
@pytest.mark.parametrize("engine", ENGINES)
def test_without_any_network_the_record_is_the_same(home: Path, engine: str) -> None:
    """In a namespace without interfaces not even the machine itself can be reached."""
    bare = processed(home, f"open-{engine}", engine)
    shut = processed(home, f"shut-{engine}", engine, before=UNSHARE)
    assert (bare.code, shut.code) == (0, 0), shut.errors
    assert bare.record == shut.record != b""


@needs(*UNSHARE)
def test_the_namespace_has_no_network(home: Path) -> None:
    code = (
        "import ctypes, struct; libc = ctypes.CDLL(None, use_errno=True); handle = libc.socket(2, 1, 0);"
        "address = struct.pack('=HH4s8x', 2, 9 << 8, bytes((127, 0, 0, 1)));"
        "assert libc.connect(handle, address, 16) == -1; assert ctypes.get_errno() == 101"
    )
    assert run(home, "unreachable", code, before=UNSHARE).code == 0
