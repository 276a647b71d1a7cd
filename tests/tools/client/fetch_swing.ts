// A front-end that knows nothing but the OpenAPI document: every path, parameter and field below is checked by the compiler
// against types generated from it.
import createClient from "openapi-fetch";
import type { paths } from "./api.js";

const service = process.env["SERVICE"];
if (!service) throw new Error("SERVICE: expected the service's URL");
const api = createClient<paths>({ baseUrl: service });

const athletes = await api.GET("/v1/athletes", {});
const athlete = athletes.data?.items[0];
if (!athlete) throw new Error(`no athlete: ${JSON.stringify(athletes.error)}`);

const page = await api.GET("/v1/swings", { params: { query: { athlete: athlete.id, limit: 3 } } });
const first = page.data?.items[0];
if (!first) throw new Error(`no swing: ${JSON.stringify(page.error)}`);

const read = await api.GET("/v1/swings/{id}", { params: { path: { id: first.id } } });
const swing = read.data;
if (!swing) throw new Error(`the swing cannot be read: ${JSON.stringify(read.error)}`);
const speed = swing.metrics.bat_speed_mps;
if (!speed || !(speed.value > 5 && speed.value < 60 && speed.sigma > 0)) throw new Error(`bat speed ${JSON.stringify(speed)}`);

const curves = await api.GET("/v1/swings/{id}/curves", { params: { path: { id: swing.id } } });
const speeds = curves.data?.bat_speed_mps ?? [];
const top = Math.max(...speeds);
if (!(Math.abs(top - speed.value) < 3)) throw new Error(`the curve's top ${top} is not about ${speed.value} m/s`);

const etag = read.response.headers.get("etag") ?? "";
const edit = { params: { path: { id: swing.id }, header: { "If-Match": etag } }, body: { note: "late" } };
const edited = await api.PATCH("/v1/swings/{id}", edit);
if (edited.data?.note !== "late") throw new Error(`not edited: ${JSON.stringify(edited.error)}`);
const again = await api.PATCH("/v1/swings/{id}", edit);
if (again.error?.type !== "/v1/problems/changed") throw new Error("an edit of a version that is gone was taken");

console.log(`${athlete.nickname}: ${speed.value.toFixed(2)} ± ${(1.96 * speed.sigma).toFixed(2)} m/s, ${speeds.length} points`);
