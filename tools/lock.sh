#!/bin/sh
# Writes requirements.txt (what the program needs) and requirements-dev.txt (that and what its tests need):
# exact versions with the hashes of every file of a version, so that they hold on Linux, Windows and macOS.
# Needs pip-compile of pip-tools on the PATH (or LOCKER=path), and Python 3.11, the oldest we support.
set -eu
cd "$(dirname "$0")/.."
export PIP_CONFIG_FILE=/dev/null  # nothing of this machine's own package sources may leak into the files
unset PIP_FIND_LINKS PIP_INDEX_URL PIP_EXTRA_INDEX_URL PIP_CONSTRAINT PIP_TRUSTED_HOST || true

compile() {
    "${LOCKER:-pip-compile}" --quiet --no-config --generate-hashes --allow-unsafe --strip-extras --no-header \
        --no-emit-options --no-emit-index-url --no-emit-find-links --no-emit-trusted-host \
        --build-deps-for editable "$@" pyproject.toml
}

compile --output-file requirements.txt ${UPGRADE:+--upgrade}
compile --output-file requirements-dev.txt --extra test --constraint requirements.txt ${UPGRADE:+--upgrade}
