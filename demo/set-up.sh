# Set-up shared by demo/start, tests/run and .ci/lock. POSIX sh, sourced with the
# project's root as the current folder; it is never run by itself.
#
#   set_up runtime|test   the virtual environment .venv, exactly as locked
#   paper_libraries       what the PDF writer loads from the system
#   test_server           the programs of a PostgreSQL server
#   test_browser          a Chromium that the browser tests can start, and its driver
#   need TEST APT BREW    one missing piece: install it where the machine lets us

# A shell profile that points Python elsewhere would mix two environments.
unset PYTHONPATH PYTHONHOME

say() {
    printf '%s\n' "$*" >&2
}

stop() {
    say "$*"
    exit 1
}

# root_prefix: succeeds where packages can be installed without a question, and
# prints what stands before the command (nothing, or sudo).
root_prefix() {
    if [ "$(id -u)" = 0 ]; then
        return 0
    fi
    command -v sudo >/dev/null 2>&1 && sudo -n true >/dev/null 2>&1 && echo "sudo -n"
}

# need '<test>' '<apt packages>' '<brew formulae>'
# The test is shell text. When it fails, the packages are installed and the test
# is run again; where that is impossible, one sentence says what to type.
need() {
    if eval "$1" >/dev/null 2>&1; then
        return 0
    fi
    if command -v apt-get >/dev/null 2>&1; then
        need_from_apt "$2"
    elif command -v brew >/dev/null 2>&1; then
        say "Installing with Homebrew: $3"
        # shellcheck disable=SC2086  # several formulae, one word each
        brew install --quiet $3 </dev/null >&2 || stop "Homebrew could not install it; run: brew install $3"
    elif [ "$(uname -s)" = Darwin ]; then
        stop "Missing on this machine: $3. Install Homebrew, run: brew install $3 — and start again."
    else
        stop "Missing on this machine, under Debian's names: $2. Install them and start again."
    fi
    eval "$1" >/dev/null 2>&1 || stop "Still missing after installing $2 (Homebrew: $3): the test was: $1"
}

# A name that differs between Debian and Ubuntu is written first|second; the
# second counts only where it is the one that is known.
known_to_apt() {
    for name in $1; do
        first=${name%%"|"*}
        second=${name#*"|"}
        if [ "$first" = "$second" ] || apt_knows "$first" || ! apt_knows "$second"; then
            printf '%s ' "$first"
        else
            printf '%s ' "$second"
        fi
    done
}

apt_knows() {
    apt-cache show "$1" >/dev/null 2>&1
}

need_from_apt() {
    if ! root=$(root_prefix); then
        packages=$(known_to_apt "$1")
        stop "Missing on this machine: ${packages% }. Run: sudo apt-get update && sudo apt-get install -y ${packages% } — and start again."
    fi
    apt="$root env DEBIAN_FRONTEND=noninteractive apt-get -qq -o DPkg::Lock::Timeout=120"
    # A package source that does not answer must not stop the others: the test
    # that follows decides.
    $apt update </dev/null >/dev/null || true
    packages=$(known_to_apt "$1")
    say "Installing with apt-get: $packages"
    # shellcheck disable=SC2086  # several packages, one word each
    $apt install -y --no-install-recommends $packages </dev/null >/dev/null ||
        stop "apt-get could not install them; run: sudo apt-get install -y ${packages% } — and start again."
}

# The first Python that is new enough; a second one often lies beside an old python3.
find_python() {
    for candidate in python3 python3.14 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            echo "$candidate"
            return 0
        fi
    done
    stop "Python 3.11 or newer is needed; this machine's python3 is: $(python3 --version 2>/dev/null || echo none)."
}

# What an environment was built from; the folder counts because it is not movable.
fingerprint() {
    printf '%s %s' "$(cat "$@" | cksum)" "$PWD"
}

is_current() { # is_current FOLDER FINGERPRINT
    [ -f "$1/.set-up" ] && [ "$(cat "$1/.set-up")" = "$2" ] && "$1/bin/python" -c '' >/dev/null 2>&1
}

# The installer lives in an environment of its own, so that it is never part of ours.
set_up_installer() {
    installer=$(fingerprint .requirements-installer.txt)
    if is_current .venv-uv "$installer"; then
        return 0
    fi
    python=$(find_python)
    need "$python -c 'import ensurepip, venv'" "$python-venv" python@3.13
    say "Preparing the installer (.venv-uv) …"
    "$python" -m venv .venv-uv
    .venv-uv/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes \
        -r .requirements-installer.txt </dev/null >&2
    printf '%s' "$installer" >.venv-uv/.set-up
}

# The demo must not take the test tools out of an environment that has them.
requirements_for() { # requirements_for runtime|test
    if [ "$1" = test ] || grep -q '^test ' .venv/.set-up 2>/dev/null; then
        echo test
    else
        echo runtime
    fi
}

set_up() { # set_up runtime|test
    kind=$(requirements_for "$1")
    locked=.requirements.txt
    [ "$kind" = runtime ] || locked=.requirements-test.txt
    wanted="$kind $(fingerprint "$locked" .requirements-build.txt pyproject.toml)"
    if is_current .venv "$wanted"; then
        return 0
    fi
    set_up_installer
    say "Installing the locked packages (.venv, $kind) …"
    if ! .venv/bin/python -c '' >/dev/null 2>&1; then
        python=$(find_python)
        .venv-uv/bin/uv venv --quiet --clear --no-project --python "$python" .venv
    fi
    # compiled once: where Python may write no bytecode, each process would do it anew and start twice as slowly
    .venv-uv/bin/uv pip sync --quiet --compile-bytecode --python .venv/bin/python --require-hashes "$locked" </dev/null >&2
    .venv-uv/bin/uv pip install --quiet --python .venv/bin/python --no-deps \
        --build-constraints .requirements-build.txt --editable . </dev/null >&2
    .venv/bin/python -m compileall -q logbook
    printf '%s' "$wanted" >.venv/.set-up
}

# A library that is listed can still be unloadable: only loading it tells.
pango_loads() {
    .venv/bin/python - <<'PYTHON'
import ctypes
import sys

names = ("gobject-2.0", "pango-1.0", "pangoft2-1.0", "harfbuzz", "harfbuzz-subset", "fontconfig")
for name in names:
    if sys.platform == "darwin":
        ctypes.CDLL(f"lib{name}.dylib" if "harfbuzz" in name or name == "fontconfig" else f"lib{name}.0.dylib")
    else:
        ctypes.CDLL(f"lib{name}.so.{1 if name == 'fontconfig' else 0}")
PYTHON
}

# Without any font the paper would be blank; macOS brings its own.
a_font_is_there() {
    [ "$(uname -s)" = Darwin ] || find /usr/share/fonts /usr/local/share/fonts -name 'DejaVuSans.ttf' 2>/dev/null | grep -q .
}

paper_libraries() {
    if [ "$(uname -s)" = Darwin ] && command -v brew >/dev/null 2>&1; then
        DYLD_FALLBACK_LIBRARY_PATH="$(brew --prefix)/lib:${DYLD_FALLBACK_LIBRARY_PATH:-/usr/local/lib:/usr/lib}"
        export DYLD_FALLBACK_LIBRARY_PATH
    fi
    need 'pango_loads && a_font_is_there' \
        'libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core' 'pango'
}

# The same names, in the same order, as the browser tests look for.
a_browser_is_there() {
    command -v chromium || command -v chromium-browser || command -v google-chrome ||
        [ -x "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome" ]
}

# What drives the browser is a program of its own and needs these on a bare Linux.
driver_libraries_load() {
    [ "$(uname -s)" = Darwin ] || .venv/bin/python -c '
import ctypes
ctypes.CDLL("libstdc++.so.6")
ctypes.CDLL("libatomic.so.1")'
}

# The tests start a server of their own with these programs; nothing that runs on this machine is touched.
a_server_is_there() {
    command -v initdb ||
        ls -d /usr/lib/postgresql/*/bin/initdb /opt/homebrew/opt/postgresql@*/bin/initdb /usr/local/opt/postgresql@*/bin/initdb 2>/dev/null | grep -q .
}

test_server() {
    need 'a_server_is_there' 'postgresql' 'postgresql@17'
}

test_browser() {
    need 'a_browser_is_there' 'chromium|chromium-browser' 'google-chrome'
    need 'driver_libraries_load' 'libstdc++6 libatomic1' 'gcc'
}
