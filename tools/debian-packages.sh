#!/bin/sh
# Installs those of the named Debian packages that are missing: as root, else with sudo, else it prints the
# line to run and stops. SKIP_PACKAGES=1 leaves the system alone. Usage: debian-packages.sh NAME...
set -eu
PATH="$PATH:/usr/local/sbin:/usr/sbin:/sbin"  # dpkg calls ldconfig, which a bare PATH does not reach

[ -z "${SKIP_PACKAGES:-}" ] || exit 0
if ! command -v dpkg-query >/dev/null; then
    echo "note: this is no Debian system; these libraries and programs are expected: $*" >&2
    exit 0
fi

# A package counts as there when its name, or another that provides it, is installed.
missing=$(dpkg-query -W -f '${db:Status-Status} ${Package} ${Provides}\n' | awk -v wanted="$*" '
    $1 == "installed" { gsub(",", " "); for (i = 2; i <= NF; i++) there[$i] = 1 }
    END { n = split(wanted, name, " "); for (i = 1; i <= n; i++) if (!(name[i] in there)) printf " %s", name[i] }')
[ -n "$missing" ] || exit 0

# --no-remove: a desktop's own sound server is never thrown out to make room for ours.
install="install --yes --no-install-recommends --no-remove$missing"
give_up() {
    echo "error: $1; run as root: apt-get update && apt-get $install" >&2
    exit 1
}

if [ "$(id -u)" = 0 ]; then
    as_root="env DEBIAN_FRONTEND=noninteractive"
elif command -v sudo >/dev/null; then
    as_root="sudo env DEBIAN_FRONTEND=noninteractive"
else
    give_up "Debian packages are missing and neither root nor sudo is at hand"
fi

echo "installing Debian packages:$missing"
$as_root apt-get -qq update || echo "note: apt-get update failed; going on with the lists at hand" >&2
# shellcheck disable=SC2086  # the words of the command are meant to split
$as_root apt-get -qq $install >/dev/null || give_up "apt-get could not install what is missing"
