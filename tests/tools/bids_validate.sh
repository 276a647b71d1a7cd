#!/usr/bin/env bash
# Validates a BIDS data set with the standard's own validator: tests/tools/bids_validate.sh FOLDER [OPTION...]
#
# The first run installs the validator, pinned, from PyPI into target/tools; it needs python3 (3.10 or later) with venv. The
# package holds the validator in one file with the BIDS schema in it, and depends on deno, which comes from PyPI too.
# Every later run works without a network: it is run without the right to use one. The exit status is the validator's:
# 0 if the data set is valid. Options are the validator's, as `--format json`.
set -eu
validator_version=3.0.2
deno_version=2.9.8

[ $# -ge 1 ] || { echo "usage: $0 FOLDER [OPTION...]" >&2; exit 2; }
tools=$(cd "$(dirname "$0")/../.." && pwd)/target/tools
home=$tools/bids-validator-$validator_version-deno-$deno_version
if [ ! -e "$home/installed" ]; then
  rm -rf "$home"
  mkdir -p "$tools"
  python3 -m venv "$home"
  "$home/bin/pip" install --quiet --disable-pip-version-check --only-binary=:all: \
    "bids-validator-deno==$validator_version" "deno==$deno_version"
  touch "$home/installed"
fi
bundle=$(echo "$home"/lib/python3*/site-packages/bids_validator_deno/bids-validator.js)
# Deno's cache of compiled code stays with the tool; what the package's own starter allows but the network.
export DENO_DIR=$home/cache DENO_NO_UPDATE_CHECK=1 NO_COLOR=1
exec "$home/bin/deno" run --quiet --no-prompt --cached-only --allow-read --allow-env --deny-net \
  "$bundle" "$@"
