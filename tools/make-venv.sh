#!/bin/sh
# Makes an empty virtual environment with the first Python that is new enough. Usage: make-venv.sh FOLDER
# PYTHON=python3.13 names the one to take.
set -eu
folder=$1
tools=$(dirname "$0")

first_python() {
    for name in ${PYTHON:-python3 python3.11 python3.12 python3.13 python3.14}; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"
            return
        fi
    done
    echo "error: no Python 3.11 or newer among: ${PYTHON:-python3, python3.11 ... python3.14}; install one" \
        "or name it: make PYTHON=/path/to/python3" >&2
    return 1
}

python=$(first_python)
if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
    # Debian keeps the means to make an environment in a package of its own, one for each version.
    sh "$tools/debian-packages.sh" "$("$python" -c 'import sys; print("python%d.%d-venv" % sys.version_info[:2])')"
fi
echo "making $folder with $("$python" --version)"
"$python" -m venv --clear "$folder"
