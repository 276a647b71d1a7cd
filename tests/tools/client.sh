#!/usr/bin/env bash
# A client generated from proto-docs/openapi.json by openapi-typescript (npm) type-checks, and fetches and edits a swing of a
# running service.
set -eu
cd "$(dirname "$0")/../.."
tools=target/tools/client
mkdir -p "$tools"
cat >"$tools/package.json" <<'JSON'
{"private": true, "type": "module", "dependencies":
  {"openapi-typescript": "7.13.0", "openapi-fetch": "0.17.0", "typescript": "5.9.3", "@types/node": "20.19.0"}}
JSON
(cd "$tools" && npm install --silent --no-audit --no-fund)
cp tests/tools/client/fetch_swing.ts "$tools/"
(cd "$tools" && npx --no-install openapi-typescript ../../../proto-docs/openapi.json --output api.d.ts >/dev/null)
(cd "$tools" && npx --no-install tsc --strict --noUncheckedIndexedAccess --target es2022 --module nodenext --moduleResolution nodenext --skipLibCheck --outDir out fetch_swing.ts)
. tests/tools/service
node "$tools/out/fetch_swing.js"
