"""Set riskrules up on a fresh machine and run it: ``review`` the sample logs, or ``test`` it.

It uses the standard library only, and parses on every Python from 3.6 on, so that whoever has an
unsuited one gets a sentence in place of a traceback.
"""

import hashlib
import os
import shutil
import sys

ROOT = os.path.dirname(os.path.abspath(__file__))
SUITED = ((3, 12), (3, 11))
PROGRAM = "import sys; from riskrules.cli import main; sys.argv[0] = 'riskrules'; sys.exit(main())"
CHECKS = (
    ("ruff check", ("ruff", "check", ".")),
    ("ruff format", ("ruff", "format", "--check", ".")),
    ("mypy", ("mypy",)),
)
TESTS = ("pytest", ("pytest", "-rs", "-n", "2", "--dist", "loadfile"))
PIP_LINES = 15
"""How many of pip's last lines are shown when it fails."""

USAGE = """\
python3 start.py review [--python PATH] [OPTIONS OF riskrules review]
    set up what the tool needs, then review the sample logs
python3 start.py test [--python PATH] [--tests-only] [OPTIONS OF pytest]
    set up what the tests need, then run the checks and the tests
    (RISKRULES_LONG=1 in the environment runs the long tests in full)
"""


class SetupError(Exception):
    """What stops the setup, in one sentence, and the exit code to end with."""

    def __init__(self, sentence: str, code: int = 2):
        super().__init__(sentence)
        self.code = code


def run(command: "list[str]", env: "dict[str, str] | None" = None) -> "tuple[int, str]":
    """Run a command; return its exit code and all that it printed."""
    import subprocess

    done = subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env=env,
    )
    return done.returncode, done.stdout.decode("utf-8", "replace")


def version_of(python: str) -> "tuple[int, int] | None":
    """Return a Python's version by running it, or None where it doesn't run."""
    try:
        code, text = run([python, "-c", "import sys; print('%d %d' % sys.version_info[:2])"])
        major, minor = text.split()
        return (int(major), int(minor)) if code == 0 else None
    except (OSError, ValueError):  # a shim may stand on PATH with nothing behind it
        return None


def other_python() -> "str | None":
    """Return a Python on PATH that is suited and runs, the newest first, or None."""
    for wanted in SUITED:
        name = "python%d.%d" % wanted
        for folder in os.environ.get("PATH", "").split(os.pathsep):
            found = shutil.which(name, path=folder) if folder else None
            if found and version_of(found) == wanted:
                return found
    return None


def no_python(found: "tuple[int, ...]", named: bool = False) -> str:
    """Return the sentence that says which Python is here and what to install."""
    here = "Python %d.%d" % (found[0], found[1])
    if not named:
        here += ", and no working python3.12 or python3.11 is on the PATH"
    why = "riskrules needs Python 3.12 or 3.11"
    if found[:2] > SUITED[0]:
        why = "its rule engine (durable-rules) cannot be loaded on Python 3.13 or later"
    return (
        "this is %s; %s: install Python 3.12 or 3.11 (with its venv module) and run this "
        "again, or name one with --python PATH" % (here, why)
    )


def suited_python(named: "str | None") -> str:
    """Return the Python to set up with: the one named, this one, or another on PATH."""
    if named:
        path = shutil.which(named)
        found = version_of(path) if path else None
        if path is None or found is None:
            raise SetupError("'%s' (from --python) is no Python that runs here" % named)
        if found not in SUITED:
            raise SetupError(no_python(found, named=True))
        return os.path.abspath(path)
    if sys.version_info[:2] in SUITED:
        return sys.executable
    other = other_python()
    if other is None:
        raise SetupError(no_python(sys.version_info[:2]))
    return other


def fingerprint(extra: str) -> str:
    """Return a hash of all that a setup depends on."""
    # 3.11.2 and 3.11.7 share what is compiled for 3.11, so either may use what the other set up.
    version = "%d.%d" % sys.version_info[:2]
    sha = hashlib.sha256("\n".join([ROOT, version, extra]).encode("utf-8"))
    for name in ("pyproject.toml", "constraints.txt"):
        with open(os.path.join(ROOT, name), "rb") as file:
            sha.update(file.read())
    return sha.hexdigest()


def stamp_of(folder: str, extra: str) -> str:
    """Return the path of the stamp that says a setup came to its end."""
    return os.path.join(folder, "ready-%s.stamp" % (extra or "review"))


def is_ready(folder: str, extra: str) -> bool:
    """Return whether a finished setup of just this is there, its Python included."""
    try:
        with open(stamp_of(folder, extra)) as file:
            return file.read() == fingerprint(extra) and os.path.exists(python_in(folder))
    except OSError:
        return False


def write_stamp(folder: str, extra: str) -> None:
    """Say that the setup came to its end; the file is there in full or not at all."""
    path = stamp_of(folder, extra)
    with open(path + ".part", "w") as file:
        file.write(fingerprint(extra))
    os.replace(path + ".part", path)


def python_in(folder: str) -> str:
    """Return the Python of a virtual environment."""
    if os.name == "nt":
        return os.path.join(folder, "Scripts", "python.exe")
    return os.path.join(folder, "bin", "python")


def compiler() -> "str | None":
    """Return the C compiler that a package would be compiled with, or None."""
    names = os.environ.get("CC", "").split()[:1] + ["cc", "gcc", "clang"]
    return next((name for name in names if shutil.which(name)), None)


def has_headers() -> bool:
    """Return whether this Python's C headers are installed."""
    import sysconfig

    return os.path.exists(os.path.join(sysconfig.get_paths()["include"], "Python.h"))


def cannot_compile() -> "str | None":
    """Return the sentence that says what compiling the rule engine lacks, or None."""
    lacks = None
    if compiler() is None:
        lacks = "no C compiler (cc, gcc or clang) is on the PATH"
    elif not has_headers():
        lacks = "the C headers of Python %d.%d are not installed" % sys.version_info[:2]
    return lacks and (
        "the rule engine (durable-rules) has to be compiled here, and %s: install a C compiler "
        "and Python's headers (Debian: apt install gcc python3-dev) and run this again" % lacks
    )


def pip_environment() -> "dict[str, str]":
    """Return the environment for pip: pinned throughout, the tools that build included."""
    from pathlib import Path

    # As an address, since pip splits a plain path at its blanks.
    pins = Path(ROOT, "constraints.txt").as_uri()
    env = dict(os.environ, PIP_CONSTRAINT=pins, PIP_BUILD_CONSTRAINT=pins)
    found = compiler()
    if found and "CC" not in os.environ:
        env["CC"] = found
    return env


def install(folder: str, *what: str) -> None:
    """Install with pip, at the pinned versions.

    Raises
    ------
    SetupError
        With what to install if the engine cannot be compiled, or with pip's last lines.
    """
    command = [python_in(folder), "-m", "pip", "install", "--no-input"]
    code, text = run(command + list(what), pip_environment())
    if code == 0:
        return
    engine = what[0] == "durable-rules"
    lacks = cannot_compile() if engine and "Building wheel" in text else None
    if lacks:
        raise SetupError(lacks)
    tell("\n".join(text.rstrip().splitlines()[-PIP_LINES:]))
    raise SetupError(
        "pip could not install %s: its last lines stand above; see to them and run this again"
        % ("the rule engine" if engine else "what riskrules needs"),
        1,
    )


def make_folder(folder: str) -> None:
    """Make an empty virtual environment."""
    code, text = run([sys.executable, "-m", "venv", "--clear", folder])
    if code != 0:
        tell(text.rstrip())
        raise SetupError(
            "Python %d.%d could not make the virtual environment %s: install its venv module "
            "(Debian: apt install python3-venv) and run this again"
            % (sys.version_info[0], sys.version_info[1], os.path.basename(folder))
        )


def compile_own(folder: str) -> None:
    """Compile the package's own modules; where that fails they are compiled when imported."""
    run([python_in(folder), "-m", "compileall", "-q", os.path.join(ROOT, "riskrules")])


def set_up(folder: str, extra: str) -> None:
    """Set up a virtual environment; the stamp comes last, so a broken-off setup leaves none."""
    name = os.path.basename(folder)
    add = bool(extra) and is_ready(folder, "")
    tell("setting up %s (once; it takes a minute or more) ..." % name)
    for each in ("", "test"):
        if os.path.exists(stamp_of(folder, each)):
            os.remove(stamp_of(folder, each))
    if not add:
        make_folder(folder)
    install(folder, "durable-rules")
    # What the command imports is compiled now, so that it starts quickly even where Python may
    # not write what it compiled; what only the tests import is not: that takes a minute.
    install(folder, "--editable", ROOT)
    compile_own(folder)
    if extra:
        install(folder, "--no-compile", "--editable", "%s[%s]" % (ROOT, extra))
    for each in {"", extra}:
        write_stamp(folder, each)
    tell("%s is ready; the command is %s" % (name, os.path.join(name, "bin", "riskrules")))


def tell(text: str) -> None:
    """Tell the user something that is no part of the job's own output."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def run_tests(python: str, rest: "list[str]") -> int:
    """Run the checks and the tests; return the last exit code that isn't 0, or 0."""
    import subprocess

    checks = () if "--tests-only" in rest else CHECKS
    rest = [word for word in rest if word != "--tests-only"]
    codes = []
    for name, command in checks + ((TESTS[0], TESTS[1] + tuple(rest)),):
        print("== %s" % name, flush=True)
        code = subprocess.call([python, "-m"] + list(command), cwd=ROOT)
        codes.append((name, code))
    ends = ["%s %s" % (name, "passed" if code == 0 else "FAILED") for name, code in codes]
    print("== %s" % ", ".join(ends), flush=True)
    return next((code for _, code in reversed(codes) if code != 0), 0)


def sample() -> "list[str]":
    """Return the arguments of the review of the sample logs, as paths from where we are."""
    logs = os.path.relpath(os.path.join(ROOT, "sample_logs"))
    return ["review", logs, "--farm", os.path.join(logs, "farm.yaml")]


def become(command: "list[str]") -> int:
    """Turn this process into another; where that can't be, wait for it and return its code."""
    if os.name == "nt":
        import subprocess

        return subprocess.call(command)
    os.execv(command[0], command)
    return 1


def parse(words: "list[str]") -> "tuple[str, str | None, list[str]]":
    """Return the command, the Python named with ``--python``, and the further arguments."""
    named = None
    rest = []
    waiting = list(words)
    while waiting:
        word = waiting.pop(0)
        if word == "--python" and waiting:
            named = waiting.pop(0)
        elif word.startswith("--python="):
            named = word[len("--python=") :]
        else:
            rest.append(word)
    command = rest.pop(0) if rest else ""
    if command not in ("review", "test"):
        raise SetupError(USAGE.rstrip())
    return command, named, rest


def start(words: "list[str]") -> int:
    """Do what the command says, with a suited Python."""
    command, named, rest = parse(words)
    python = suited_python(named)
    if os.path.realpath(python) != os.path.realpath(sys.executable):
        return become([python, os.path.abspath(__file__), command] + rest)
    folder = os.path.join(ROOT, ".venv-%d.%d" % sys.version_info[:2])
    extra = "test" if command == "test" else ""
    if not is_ready(folder, extra):
        set_up(folder, extra)
    if command == "review":
        return become([python_in(folder), "-P", "-c", PROGRAM] + sample() + rest)
    return run_tests(python_in(folder), rest)


def main() -> int:
    """Run; every trouble ends in one sentence."""
    try:
        return start(sys.argv[1:])
    except SetupError as trouble:
        tell("start.py: %s" % trouble if "\n" not in str(trouble) else str(trouble))
        return trouble.code
    except KeyboardInterrupt:
        tell("start.py: stopped; run it again to go on")
        return 130


if __name__ == "__main__":
    sys.exit(main())
