"""Set up axlewright and run its tasks on a fresh machine with nothing but Python.

    python tasks.py demo [--no-serve]   the main job on the demo axle
    python tasks.py test                every check, all of them even when one fails, and a table at the end
    python tasks.py lint|rules|scripts|types|unit|browser|bench|lock|vendor|words|fields|setup

test needs Node 20 or later, and brings the rest by itself where it may (needs below says what and how).
words collects the messages of the program into src/axlewright/language/catalogs for translating;
fields writes docs/fields.md from the fields that the steps declare.

The environment lies in .venv beside this file and is rebuilt when the locks change.
"""

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time

ROOT = os.path.dirname(os.path.abspath(__file__))
VENV = os.path.join(ROOT, ".venv")
BIN = os.path.join(VENV, "Scripts" if os.name == "nt" else "bin")
PYTHON = os.path.join(BIN, "python.exe" if os.name == "nt" else "python")
STAMP = os.path.join(VENV, "axlewright-stamp")
VENDOR = os.path.join(ROOT, "src", "axlewright", "web", "static", "vendor")
NODE = 20

# What the tests use beside Python's packages and Node, and the package that has it, by package manager.
PARTS = {
    "Chromium": {"apt-get": "chromium", "dnf": "chromium"},
    "poppler": {"apt-get": "poppler-utils", "dnf": "poppler-utils", "brew": "poppler"},
    "PostgreSQL": {"apt-get": "postgresql", "dnf": "postgresql-server", "brew": "postgresql"},
    "fonts": {"apt-get": "fonts-dejavu-core", "dnf": "dejavu-sans-fonts"},
    "git": {"apt-get": "git", "dnf": "git", "brew": "git"},
}
INSTALLING = {
    "apt-get": ("apt-get", "install", "--yes", "--no-install-recommends"),
    "dnf": ("dnf", "install", "--assumeyes"),
    "brew": ("brew", "install"),
}


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


def trouble_with_node():
    """Return what is wrong with Node here, in half a sentence, or nothing."""
    node = shutil.which("node")
    if not node or not shutil.which("npm"):
        return "Node and npm are not installed"
    told = subprocess.run([node, "--version"], stdout=subprocess.PIPE, universal_newlines=True).stdout.strip()
    major = told.lstrip("v").split(".")[0]
    if not major.isdigit() or int(major) < NODE:
        return "Node here is %s" % (told or "broken")
    # The browser driver brings a Node that needs a library which bare machines lack; this one runs.
    os.environ.setdefault("PLAYWRIGHT_NODEJS_PATH", node)
    return ""


def vendor():
    """Fetch the browser parts named in package.json and bundle them; return whether they are there."""
    wanted = hashlib.sha256()
    for name in ("package.json", "package-lock.json"):
        with open(os.path.join(ROOT, name), "rb") as handle:
            wanted.update(handle.read())
    stamp = os.path.join(VENDOR, "stamp")
    if os.path.exists(stamp):
        with open(stamp) as handle:
            if handle.read() == wanted.hexdigest():
                return True
    trouble = trouble_with_node()
    if trouble:
        say(
            "%s: the page works with plain forms and server-drawn pictures; install Node %d or later "
            "and run 'python tasks.py vendor' for the 3-D view." % (trouble, NODE)
        )
        return False
    say("Fetching the browser parts (once) ...")
    npm = shutil.which("npm")
    if run(npm, "ci", "--silent", check=False) or run(npm, "run", "--silent", "vendor", check=False):
        say(
            "The browser parts could not be fetched or bundled: the page works with plain forms and "
            "server-drawn pictures; 'python tasks.py vendor' tries again."
        )
        return False
    with open(stamp, "w") as handle:
        handle.write(wanted.hexdigest())
    return True


def lacking():
    """Return which of PARTS this machine lacks, as the tests themselves look for them."""
    look = [PYTHON, os.path.join("tests", "parts.py")]
    found = subprocess.run(look, cwd=ROOT, stdout=subprocess.PIPE, universal_newlines=True)
    if found.returncode != 0:
        sys.exit(found.returncode)
    return found.stdout.split()


def as_root():
    """Return what to put before a command so that it runs as root without asking, or None."""
    if not hasattr(os, "geteuid"):
        return None
    if os.geteuid() == 0:
        return []
    if shutil.which("sudo") and subprocess.call(["sudo", "-n", "true"], stderr=subprocess.DEVNULL) == 0:
        return ["sudo", "-n"]
    return None


def from_packages(manager, parts):
    """Return which of these parts a package manager has."""
    if manager == "apt-get" and os.path.exists("/etc/os-release"):
        with open("/etc/os-release") as handle:
            if "ID=ubuntu" in handle.read().splitlines():  # its Chromium package only points elsewhere
                parts = [part for part in parts if part != "Chromium"]
    return [part for part in parts if manager in PARTS[part]]


def needs():
    """Bring what the tests need beside Python and Node where that is allowed, else name it and stop."""
    missing = lacking()
    if not missing:
        return
    before = as_root()
    if shutil.which("apt-get") and before is not None:
        quiet = ["env", "DEBIAN_FRONTEND=noninteractive"]
        packages = [PARTS[part]["apt-get"] for part in from_packages("apt-get", missing)]
        if packages:
            say("Installing with apt what the tests need: %s ..." % " ".join(packages))
            run(*(before + ["apt-get", "update", "-qq"]), check=False)
            run(
                *(before + quiet + list(INSTALLING["apt-get"]) + ["-qq"] + packages),
                check=False,
                stdout=subprocess.DEVNULL,
            )
        missing = lacking()
    if "Chromium" in missing:
        say("Fetching the Chromium of the browser driver ...")
        libraries = ["--with-deps"] if shutil.which("apt-get") and before is not None else []
        run(*([PYTHON, "-m", "playwright", "install", "chromium"] + libraries), check=False)
        missing = lacking()
    if missing:
        stop(how_to_bring(missing))


def how_to_bring(missing):
    """Return one sentence: what is missing and the commands that bring it here."""
    commands, rest = [], list(missing)
    manager = next((name for name in INSTALLING if shutil.which(name)), None)
    if manager:
        here = from_packages(manager, missing)
        rest = [part for part in missing if part not in here]
        if here:
            command = list(INSTALLING[manager]) + [PARTS[part][manager] for part in here]
            commands.append(" ".join(command if manager == "brew" else ["sudo"] + command))
    if "Chromium" in rest:
        commands.append("%s -m playwright install chromium" % os.path.relpath(PYTHON, ROOT))
        rest.remove("Chromium")
    steps = ["run '%s'" % command for command in commands]
    if rest:
        steps.append("install %s so that their programs are on the path" % ", ".join(rest))
    return "The tests need %s: %s, then run 'python tasks.py test' again." % (
        ", ".join(missing),
        ", ".join(steps),
    )


STAGES = ("lint", "rules", "scripts", "types", "unit", "browser")


def commands_of(stage, extra=()):
    """Return the commands of a stage; each must exit with 0, so that pytest's 5 for no test fails too."""
    node = shutil.which("node") or "node"
    pytest = (PYTHON, "-m", "pytest")
    return {
        "lint": [(PYTHON, "-m", "ruff", "check", "."), (PYTHON, "-m", "ruff", "format", "--check", ".")],
        "rules": [(os.path.join(BIN, "lint-imports"),)],
        "scripts": [
            (node, os.path.join("node_modules", "typescript", "bin", "tsc"), "-p", "."),
            (node, "--test", os.path.join("tests", "web", "scripts.test.mjs")),
        ],
        "types": [(PYTHON, "-m", "mypy", "src")],
        # A file stays with one worker, so that what its tests share is made once.
        "unit": [
            pytest
            + ("-n", str(os.cpu_count() or 1), "--dist", "loadfile", "-m", "not browser")
            + tuple(extra)
        ],
        "browser": [pytest + ("-m", "browser") + tuple(extra)],
    }[stage]


def run_stage(stage, extra=(), output=None):
    """Run all commands of a stage; return its exit code and how many seconds it took."""
    start, code = time.time(), 0
    for command in commands_of(stage, extra):
        code = subprocess.call(command, cwd=ROOT, stdout=output, stderr=output) or code
    return code, time.time() - start


def every_stage(extra):
    """Run every stage, also after one failed, and print how each went; return whether one failed.

    The browser tests run beside the others, since they spend much of their time waiting.
    """
    went = {}
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as output:
        beside = threading.Thread(target=lambda: went.update(browser=run_stage("browser", extra, output)))
        beside.start()
        for stage in STAGES[:-1]:
            say("== %s" % stage)
            went[stage] = run_stage(stage, extra if stage == "unit" else ())
        say("== browser")
        beside.join()
        output.seek(0)
        say(output.read())
    say("%-8s  %-6s  %s" % ("stage", "result", "time"))
    for stage in STAGES:
        code, seconds = went[stage]
        minutes, seconds = divmod(round(seconds), 60)
        say("%-8s  %-6s  %d:%02d" % (stage, "FAILED" if code else "passed", minutes, seconds))
    return any(code for code, _ in went.values())


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


def fields():
    run(PYTHON, "-m", "axlewright.steps.documenting", os.path.join("docs", "fields.md"))


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
        trouble = trouble_with_node()
        if trouble:
            stop("%s: the tests need Node %d or later with npm, for the page's parts." % (trouble, NODE))
        setup("dev")
        if not vendor():
            sys.exit(2)
        needs()
        os.environ["AXLEWRIGHT_TESTS_MUST_NOT_SKIP"] = "1"
        sys.exit(1 if every_stage(rest) else 0)
    elif task in STAGES:
        setup("dev")
        if task in ("scripts", "unit", "browser") and trouble_with_node() == "":
            vendor()
        sys.exit(run_stage(task, rest)[0])
    elif task in ("bench", "lock", "words", "fields"):
        setup("dev")
        {"bench": bench, "lock": lock, "words": words, "fields": fields}[task]()
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
