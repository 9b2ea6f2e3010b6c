"""Set up axlewright and run its tasks on a fresh machine with nothing but Python.

    python tasks.py demo [--no-serve]   the main job on the demo axle
    python tasks.py test                every check: lint, types, import rules, unit and browser tests
    python tasks.py lint|types|unit|browser|bench|lock|vendor|words|setup

words collects the messages of the program into src/axlewright/language/catalogs for translating.

The environment lies in .venv beside this file and is rebuilt when the locks change.
"""

import hashlib
import os
import shutil
import subprocess
import sys

ROOT = os.path.dirname(os.path.abspath(__file__))
VENV = os.path.join(ROOT, ".venv")
BIN = os.path.join(VENV, "Scripts" if os.name == "nt" else "bin")
PYTHON = os.path.join(BIN, "python.exe" if os.name == "nt" else "python")
STAMP = os.path.join(VENV, "axlewright-stamp")
VENDOR = os.path.join(ROOT, "src", "axlewright", "web", "static", "vendor")


def say(text):
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def stop(text):
    sys.stderr.write(text + "\n")
    sys.exit(2)


def run(*command, **kwargs):
    check = kwargs.pop("check", True)
    code = subprocess.call([str(part) for part in command], cwd=ROOT, **kwargs)
    if check and code != 0:
        sys.exit(code)
    return code


def fingerprint(lock):
    digest = hashlib.sha256(sys.version.encode())
    for name in (lock, "pyproject.toml"):
        with open(os.path.join(ROOT, name), "rb") as handle:
            digest.update(handle.read())
    return digest.hexdigest()


def setup(kind):
    """Make .venv from the hashed lock of `kind` ("app" or "dev"), unless it is already so."""
    lock = os.path.join("requirements", kind + ".txt")
    wanted = kind + " " + fingerprint(lock)
    have = ""
    if os.path.exists(STAMP) and os.path.exists(PYTHON):
        with open(STAMP) as handle:
            have = handle.read()
        dev_now = "dev " + fingerprint(os.path.join("requirements", "dev.txt"))
        if have in (wanted, dev_now):
            return
    say("Setting up .venv from %s (once) ..." % lock)
    if not os.path.exists(PYTHON) and subprocess.call([sys.executable, "-m", "venv", VENV]) != 0:
        stop(
            "Python cannot make a virtual environment here; install its venv package "
            "(on Debian and Ubuntu: python3-venv) and try again."
        )
    uv = shutil.which("uv")
    if uv:
        install = [uv, "pip", "install", "-q", "--python", PYTHON]
    else:
        install = [PYTHON, "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    run(*(install + ["--require-hashes", "-r", lock]))
    run(*(install + ["--no-deps", "--no-build-isolation", "-e", "."]))
    with open(STAMP, "w") as handle:
        handle.write(wanted)


def vendor():
    """Fetch the browser parts named in package.json and bundle them, where Node is present."""
    if not os.path.exists(os.path.join(ROOT, "package.json")):
        return True
    npm = shutil.which("npm")
    if not npm:
        say(
            "Node is not installed: the page works with plain forms and server-drawn pictures; "
            "install Node 20 or later and run 'python tasks.py vendor' for the 3-D view."
        )
        return False
    stamp = os.path.join(VENDOR, "stamp")
    digest = hashlib.sha256()
    for name in ("package.json", "package-lock.json"):
        with open(os.path.join(ROOT, name), "rb") as handle:
            digest.update(handle.read())
    wanted = digest.hexdigest()
    if os.path.exists(stamp):
        with open(stamp) as handle:
            if handle.read() == wanted:
                return True
    say("Fetching the browser parts (once) ...")
    if run(npm, "ci", "--silent", check=False) or run(npm, "run", "--silent", "vendor", check=False):
        say(
            "The browser parts could not be fetched or bundled: the page works with plain forms and "
            "server-drawn pictures; 'python tasks.py vendor' tries again."
        )
        return False
    with open(stamp, "w") as handle:
        handle.write(wanted)
    return True


def lint():
    run(PYTHON, "-m", "ruff", "check", ".")
    run(PYTHON, "-m", "ruff", "format", "--check", ".")
    run(os.path.join(BIN, "lint-imports"))
    scripts()


def scripts():
    """Check the types of the page's scripts, where Node is present."""
    node = shutil.which("node")
    compiler = os.path.join(ROOT, "node_modules", "typescript", "bin", "tsc")
    if node and vendor() and os.path.exists(compiler):
        run(node, compiler, "-p", ROOT)
    else:
        say("The page's scripts were not checked: that needs Node 20 or later.")


def types():
    run(PYTHON, "-m", "mypy", "src")


def unit(extra):
    run(PYTHON, "-m", "pytest", "-n", "2", "-m", "not browser", *extra)


def browser(extra):
    run(PYTHON, "-m", "pytest", "-m", "browser", *extra)


def lock():
    for kind in ("app", "dev"):
        run(
            os.path.join(BIN, "uv"),
            "pip",
            "compile",
            "--universal",
            "--python-version",
            "3.11",
            "--generate-hashes",
            "--no-emit-index-url",
            "--no-header",
            "-q",
            "-o",
            "requirements/%s.txt" % kind,
            "pyproject.toml",
            "requirements/%s.in" % kind,
        )


def words():
    run(PYTHON, "-m", "axlewright.language.collecting")


def bench():
    folder = os.path.join(ROOT, "benchmarks")
    for name in sorted(os.listdir(folder)):
        if not name.endswith(".py"):
            continue
        with open(os.path.join(folder, name), encoding="utf-8") as handle:
            if "__main__" not in handle.read():
                continue  # parts of other programs
        say("== benchmarks/%s" % name)
        run(PYTHON, os.path.join("benchmarks", name))


def main(argv):
    if sys.version_info < (3, 11):
        stop("axlewright needs Python 3.11 or later; this is %d.%d." % sys.version_info[:2])
    task = argv[0] if argv else "help"
    rest = argv[1:]
    if task == "demo":
        setup("app")
        vendor()
        run(PYTHON, "-m", "axlewright.demo", *rest)
    elif task == "test":
        setup("dev")
        if not vendor():
            stop("The tests need Node for the browser parts; install Node 20 or later.")
        lint()
        types()
        unit(rest)
        browser(rest)
    elif task in ("lint", "types", "bench", "lock", "words"):
        setup("dev")
        {"lint": lint, "types": types, "bench": bench, "lock": lock, "words": words}[task]()
    elif task in ("unit", "browser"):
        setup("dev")
        vendor()
        {"unit": unit, "browser": browser}[task](rest)
    elif task == "vendor":
        vendor()
    elif task == "setup":
        setup("dev")
        vendor()
    else:
        say(__doc__)
        sys.exit(0 if task in ("help", "-h", "--help") else 2)


if __name__ == "__main__":
    main(sys.argv[1:])
