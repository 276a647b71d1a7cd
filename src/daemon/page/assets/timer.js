// The pendulum timer: touches become periods, their mean and its σ. The moment of inertia follows from a factor of the page;
// what is kept is computed by the service.
(() => {
  const timer = document.getElementById("timer");
  if (!timer) return;
  const at = (name) => document.getElementById(`timer-${name}`);
  // A hand times as well as this, s (common practice, no source).
  const HAND_S = 0.05;
  const LEAST_RUNS = 3;
  const runs = [];
  let begun = null;

  const swings = () => Math.min(60, Math.max(3, Math.round(Number(at("swings").value)) || 10));

  const estimate = () => {
    const periods = runs.map((run) => run.seconds / run.swings);
    const mean = periods.reduce((sum, period) => sum + period, 0) / periods.length;
    const spread = periods.reduce((sum, period) => sum + (period - mean) ** 2, 0) / (periods.length - 1);
    const least = HAND_S / Math.min(...runs.map((run) => run.swings));
    return { mean, sigma: Math.max(Math.sqrt(spread / periods.length) || 0, least) };
  };

  const draw = () => {
    at("runs").replaceChildren(
      ...runs.map((run, k) => {
        const row = document.createElement("tr");
        for (const text of [k + 1, run.swings, (run.seconds / run.swings).toFixed(4)]) row.insertCell().textContent = text;
        const remove = document.createElement("button");
        remove.type = "button";
        remove.textContent = "Leave out";
        remove.setAttribute("aria-label", `Leave out run ${k + 1}`);
        remove.addEventListener("click", () => {
          runs.splice(k, 1);
          draw();
          at("touch").focus();
        });
        row.insertCell().append(remove);
        return row;
      }),
    );
    timer.querySelector("table").hidden = runs.length === 0;
    const isEnough = runs.length >= LEAST_RUNS;
    at("keep").disabled = !isEnough;
    at("period").textContent = at("moment").textContent = "—";
    at("period-s").value = at("sigma-s").value = "";
    if (runs.length === 0) return;
    const { mean, sigma } = estimate();
    const { kgm2, unit, factor, decimals } = timer.dataset;
    const moment = (Number(kgm2) * mean ** 2) / Number(factor);
    const momentSigma = (2 * moment * sigma) / mean;
    at("period").textContent = `${mean.toFixed(4)} s` + (isEnough ? `, σ ${(sigma * 1e3).toFixed(1)} ms` : ` (${runs.length} of ${LEAST_RUNS} runs)`);
    at("moment").textContent = `${moment.toFixed(decimals)} ${unit}` + (isEnough ? `, σ ${momentSigma.toFixed(decimals)}` : "");
    if (isEnough) {
      at("period-s").value = mean.toFixed(6);
      at("sigma-s").value = sigma.toFixed(6);
    }
  };

  const touch = (time) => {
    if (begun === null) {
      begun = { time, swings: swings() };
      at("touch").textContent = `Touch at pass ${begun.swings}`;
      at("said").textContent = `Running: count ${begun.swings} full swings.`;
      return;
    }
    const run = { seconds: (time - begun.time) / 1000, swings: begun.swings };
    begun = null;
    at("touch").textContent = "Touch at the first pass";
    const period = run.seconds / run.swings;
    // As the service takes them.
    if (period < 0.3 || period > 5) {
      at("said").textContent = `${period.toFixed(2)} s a swing is no bat's period; this run is left out.`;
      return;
    }
    runs.push(run);
    at("said").textContent = `Run ${runs.length}: ${period.toFixed(4)} s.`;
    draw();
  };

  const isElsewhere = (element) => element.closest("input, select, textarea, summary, a, button") && element !== at("touch");
  // The press counts, not its end; a button that is worked otherwise (a screen reader, Enter) tells only a click without a place.
  at("touch").addEventListener("pointerdown", (event) => {
    if (event.button === 0) touch(event.timeStamp || performance.now());
  });
  at("touch").addEventListener("click", (event) => {
    if (event.detail === 0) touch(performance.now());
  });
  document.addEventListener("keydown", (event) => {
    if (event.code !== "Space" || isElsewhere(event.target)) return;
    event.preventDefault();
    if (!event.repeat) touch(performance.now());
  });
  document.addEventListener("keyup", (event) => {
    if (event.code === "Space" && event.target === at("touch")) event.preventDefault();
  });
})();
