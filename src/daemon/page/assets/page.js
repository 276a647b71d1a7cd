// Sends what is touched to the API, sets units and light, follows the stream of a page's parts. No other script is needed.
"use strict";
(() => {
  const one = (selector, within = document) => within.querySelector(selector);
  // The part that it was in may have been filled anew meanwhile: then what has its key now stands for it.
  const byKey = (key, within) => (key ? one(`[data-key="${CSS.escape(key)}"]`, within) : null);
  const living = (element) => (element.isConnected ? element : (byKey(element.dataset.key) ?? document.body));

  // In what is nearest around it: a form, the section that it is in; else on the page.
  const AROUND = "form, section, dialog";
  const problemAt = (element) => {
    for (let at = element.closest(AROUND); at; at = at.parentElement?.closest(AROUND)) {
      const place = one("[data-problem]", at);
      if (place) return place;
    }
    return one("[data-problem]") ?? one("#problem");
  };

  const show = (element, words) => {
    const place = problemAt(living(element));
    place.textContent = words;
    place.hidden = words === "";
    if (words) place.scrollIntoView({ block: "nearest" });
  };

  // What was wrong is so no more.
  const clear = () => {
    document.querySelectorAll("#problem, [data-problem]").forEach((place) => (place.hidden = true));
    document.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
  };

  // ---- What had the focus has it again when the page was loaded anew. Where it has no key: the same in the order of the page.
  const AFTER = "after";
  const likes = (element) => {
    if (element.dataset.key) return `[data-key="${CSS.escape(element.dataset.key)}"]`;
    if (element.id) return `#${CSS.escape(element.id)}`;
    return `[data-send="${CSS.escape(element.dataset.send ?? "")}"]`;
  };
  const reload = (element) => {
    const like = likes(element);
    const place = [...document.querySelectorAll(like)].indexOf(element);
    const field = [...(element.elements ?? [])].indexOf(document.activeElement);
    try {
      sessionStorage.setItem(AFTER, JSON.stringify({ path: window.location.pathname, like, place, field }));
    } catch {
      // It begins at the top.
    }
    window.location.reload();
  };
  const comeBack = () => {
    try {
      const { path, like, place, field } = JSON.parse(sessionStorage.getItem(AFTER) ?? "{}");
      sessionStorage.removeItem(AFTER);
      if (path !== window.location.pathname) return;
      const element = document.querySelectorAll(like)[place];
      const at = element?.elements ? (element.elements[field] ?? one("button", element)) : element;
      at?.focus({ preventScroll: true });
      at?.scrollIntoView({ block: "nearest" });
    } catch {
      // It begins at the top.
    }
  };
  comeBack();

  // ---- A form's fields as JSON. A name with points (offset_b_m.2) leads into lists and objects.
  const put = (body, name, value) => {
    const path = name.split(".");
    let at = body;
    path.slice(0, -1).forEach((key, k) => (at = at[key] ??= /^\d+$/.test(path[k + 1]) ? [] : {}));
    at[path.at(-1)] = value;
  };

  // What was not touched is sent as it was (data-exact), not as it was rounded to be shown; what is no number, as it was typed, to
  // be refused.
  const numberOf = (field, text) => {
    if (field.dataset.exact && text === field.defaultValue) return Number(field.dataset.exact);
    const value = Number(text.replace(",", "."));
    return Number.isFinite(value) ? value * Number(field.dataset.factor ?? 1) : text;
  };

  // data-as: number (data-factor turns the unit shown into the API's), truth, list (of checked boxes), words (a list, between
  // commas), instant, now (the instant of sending); else text.
  // An empty field is null; with data-leave it is left out.
  const valueOf = (field) => {
    const text = field.value.trim();
    if (field.dataset.as === "truth") return field.type === "checkbox" ? field.checked : text === "true";
    if (field.dataset.as === "words") return text.split(",").map((word) => word.trim()).filter((word) => word !== "");
    if (field.dataset.as === "now") return new Date().toISOString();
    if (text === "") return null;
    if (field.dataset.as === "number") return numberOf(field, text);
    // A day alone begins where the browser is, as it is shown.
    if (field.dataset.as === "instant") return new Date(field.type === "date" ? `${text}T00:00` : text).toISOString();
    return text;
  };

  const bodyOf = (form) => {
    const body = JSON.parse(form.dataset.body ?? "{}");
    for (const field of form.elements) {
      if (!field.name || field.disabled || (field.type === "radio" && !field.checked)) continue;
      if (field.dataset.as === "list") {
        const list = field.name in body ? body[field.name] : (body[field.name] = []);
        if (field.checked) list.push(field.value);
        continue;
      }
      const value = valueOf(field);
      if (value === null && "leave" in field.dataset) continue;
      put(body, field.name, value);
    }
    return body;
  };

  // Whoever waits longer is told.
  const PATIENCE_MS = 8000;
  const silence = (error) =>
    error.name === "TimeoutError" ? "No answer from the service. Try again." : "The service was not reached. Try again.";

  const keys = new WeakMap();
  const send = async (element) => {
    if (element.dataset.confirm && !window.confirm(element.dataset.confirm)) return;
    const [method, path] = element.dataset.send.split(" ");
    const isForm = element.tagName === "FORM";
    const headers = {};
    if ("version" in element.dataset) headers["If-Match"] = `"${element.dataset.version}"`;
    if (method === "POST") {
      // The same touch sent twice is done once.
      if (!keys.has(element)) keys.set(element, Array.from(crypto.getRandomValues(new Uint32Array(4)), (n) => n.toString(16)).join("-"));
      headers["Idempotency-Key"] = keys.get(element);
    }
    let body;
    if (method !== "DELETE" && method !== "GET") {
      headers["Content-Type"] = method === "PATCH" ? "application/merge-patch+json" : "application/json";
      body = JSON.stringify(isForm ? bodyOf(element) : JSON.parse(element.dataset.body ?? "{}"));
    }
    const buttons = isForm ? element.querySelectorAll("button[type=submit], button:not([type])") : [element];
    buttons.forEach((button) => (button.ariaBusy = "true"));
    show(element, "");
    element.querySelectorAll?.("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
    try {
      const answer = await fetch(path, { method, headers, body, signal: AbortSignal.timeout(PATIENCE_MS) });
      const isJson = (answer.headers.get("Content-Type") ?? "").includes("json");
      const said = isJson ? await answer.json() : {};
      keys.delete(element);
      if (!answer.ok) return refused(element, said, answer.status);
      clear();
      done(element, said);
    } catch (error) {
      show(element, silence(error));
    } finally {
      buttons.forEach((button) => (button.ariaBusy = null));
    }
  };

  // A range is told in the API's unit; people read it in that of the field.
  const asShown = (field, detail) => {
    const factor = Number(field.dataset.factor ?? 1);
    const shown = (number) => String(Number((Number(number) / factor).toPrecision(4)));
    return factor === 1 ? detail : detail.replace(/^(\S+); expected ([\d.]+) to ([\d.]+)$/, (_, ...n) => `${shown(n[0])}; expected ${shown(n[1])} to ${shown(n[2])}`);
  };

  const refused = (element, said, status) => {
    const places = (said.errors ?? []).map(({ pointer, detail }) => {
      const field = element.elements?.namedItem(pointer.slice(1).replaceAll("/", "."));
      field?.setAttribute?.("aria-invalid", "true");
      const label = field?.labels?.[0]?.firstElementChild?.textContent;
      return label ? `${label}: ${asShown(field, detail)}` : `${pointer}: ${detail}`;
    });
    const detail = places.length > 0 ? places.join("; ") : said.detail;
    const words = status === 412 ? "It was changed meanwhile by somebody else. Load the page again." : detail;
    show(element, `${said.title ?? `Status ${status}`}: ${words ?? ""}`);
  };

  // data-then: none, reload (as where nothing is said), #id of the part to go to, which is asked for anew, or an address in which
  // {id} is that of the answer. data-also: the id of a
  // form that follows unless it is hidden, {id} in its address being the same; if it is refused, it is sent again alone.
  const done = (element, said) => {
    const withId = (text) => text.replaceAll("{id}", said.id ?? "");
    const then = withId(element.dataset.then ?? "reload");
    living(element).dispatchEvent(new CustomEvent("sent", { bubbles: true, detail: said }));
    const also = following(element);
    if (also) {
      also.dataset.send = withId(also.dataset.send);
      also.dataset.then = then;
      element.dataset.isSent = "";
      for (const field of element.elements) if (field.name) field.disabled = true;
      return send(also);
    }
    if (then === "none") return;
    if (then === "reload") return reload(element);
    if (then.startsWith("#")) return goTo(one(then));
    window.location.assign(then);
  };

  const goTo = (place) => {
    place.dispatchEvent(new CustomEvent("ask"));
    place.focus({ preventScroll: true });
    place.scrollIntoView({ block: "start" });
  };

  const following = (form) => {
    const also = form.dataset.also && document.getElementById(form.dataset.also);
    return also && !also.hidden ? also : null;
  };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.send) return;
    event.preventDefault();
    // Of two forms that belong together (data-first on the second), both are checked before any is sent.
    if (form.dataset.first) return document.getElementById(form.dataset.first).requestSubmit();
    const also = following(form);
    if (also && !also.reportValidity()) return;
    send(also && "isSent" in form.dataset ? also : form);
  });
  // data-opens: the id of what is there only while the box is ticked.
  const open = (box) => (document.getElementById(box.dataset.opens).hidden = !box.checked);
  document.querySelectorAll("[data-opens]").forEach(open);
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.send) send(button);
    if (button.dataset.set) {
      document.cookie = `${button.dataset.set}; path=/; max-age=31536000; SameSite=Strict`;
      reload(button);
    }
    if ("print" in button.dataset) window.print();
  });
  // A choice of what is shown takes effect at once.
  document.addEventListener("change", (event) => {
    if (event.target.dataset.opens) open(event.target);
    if ("go" in (event.target.form?.dataset ?? {})) event.target.form.requestSubmit();
  });

  // ---- Filling a slot anew keeps what has the focus, what is open, what is chosen and what is being typed.
  const firstOf = (field) => {
    if (field.tagName !== "SELECT") return field.defaultValue;
    return ([...field.options].find((option) => option.defaultSelected) ?? field.options[0])?.value;
  };
  // The same number written otherwise is the same.
  const isFirst = (field, value) => {
    const first = firstOf(field);
    if (value === first || field.dataset.as !== "number" || !value.trim() || !first) return value === first;
    return Number(value.replace(",", ".")) === Number(first);
  };
  const keep = (field, value) => {
    if (!field || isFirst(field, value)) return;
    if (field.tagName === "SELECT" && ![...field.options].some((option) => option.value === value)) return;
    field.value = value;
  };

  window.swingd = {
    clear,
    fill(slot, html) {
      const key = slot.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
      const open = [...slot.querySelectorAll("details[open][data-key]")].map((details) => details.dataset.key);
      const isTyped = (field) => field.dataset.key && !isFirst(field, field.value);
      const typed = [...slot.querySelectorAll("input, textarea, select")].filter(isTyped).map((field) => [field.dataset.key, field.value]);
      slot.innerHTML = html;
      typed.forEach(([key, value]) => keep(byKey(key, slot), value));
      open.forEach((key) => byKey(key, slot)?.setAttribute("open", ""));
      byKey(key, slot)?.focus();
    },
  };

  // ---- Parts that are asked for again and again, until one says that it is done.
  for (const place of document.querySelectorAll("[data-poll]")) {
    let before, next;
    const every = Number(place.dataset.every ?? 1000);
    const ask = async () => {
      clearTimeout(next);
      // Nobody sees it: a sensor that is listened for costs the others.
      if (document.hidden) return (next = setTimeout(ask, every));
      try {
        const answer = await fetch(place.dataset.poll);
        const html = answer.ok ? await answer.text() : before;
        // What is the same is left alone, so that a touch is not lost in between.
        if (html !== before) window.swingd.fill(place, (before = html));
      } catch {
        // It is asked again.
      }
      clearTimeout(next);
      if (!one("[data-done]", place)) next = setTimeout(ask, every);
    };
    document.addEventListener("sent", ask);
    place.addEventListener("ask", ask);
    ask();
  }
})();
