#!/usr/bin/env bash
# Sets up everything that the tests need, in an environment of their own, and runs them all,
# spread over all cores. Arguments go to pytest. PYTHON chooses the interpreter.
set -euo pipefail
cd "$(dirname "$0")/.."

# Programs the tests call, and the Debian packages that bring them.
declare -A packages=([ngspice]=ngspice [ffmpeg]=ffmpeg [chromium]=chromium [firefox-esr]=firefox-esr [pulseaudio]=pulseaudio [gcc]=gcc)
missing=()
# Waits where another apt holds the lock; whatever else goes wrong is said.
apt() {
    local said
    until said=$(DEBIAN_FRONTEND=noninteractive apt-get -qq "$@" 2>&1 >/dev/null); do
        [[ $said == *lock* ]] || { echo "$said" >&2; return 1; }
        sleep 3
    done
}
for program in "${!packages[@]}"; do
    command -v "$program" >/dev/null || missing+=("${packages[$program]}")
done
if ((${#missing[@]})); then
    if [[ $(id -u) == 0 ]] && command -v apt-get >/dev/null; then
        apt update
        apt install -y --no-install-recommends "${missing[@]}"
    else
        echo "These packages are missing, and the tests that need them will be skipped: ${missing[*]}"
        echo "On Debian or Ubuntu: sudo apt-get install ${missing[*]}"
    fi
fi

environment=$(mktemp -d)
trap 'rm -rf "$environment"' EXIT
"${PYTHON:-python3}" -m venv "$environment"
python="$environment/bin/python"
# uv installs in seconds what takes pip a minute and a half.
"$python" -m pip install --quiet --disable-pip-version-check uv
"$python" -m uv pip install --quiet --python "$python" '.[test]'
rm -rf build ./*.egg-info
# Types take half a minute the first time; what is learnt of them is kept for the test that asks.
# So long as a test wants the core, this waits; for a few tests it is not worth it.
(($#)) || nice -n 19 "$python" -m mypy >/dev/null 2>&1 &
# A file stays on one core, so that what its tests share is made once.
"$python" -m pytest --numprocesses auto --dist loadfile --no-loadscope-reorder --durations 10 "$@"
