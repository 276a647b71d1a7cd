
// The cage screen: parts as they change, a lost connection, spoken numbers, keys.
(() => {
  const address = document.body.dataset.stream;
  if (!address) return;
  const byId = (id) => document.getElementById(id);
  const kept = (key) => { try { return localStorage.getItem(key); } catch { return null; } };
  const keep = (key, value) => { try { localStorage.setItem(key, value); } catch { /* It holds until the page is left. */ } };

  // ---- The stream. Something comes every 2.5 s; EventSource connects again by itself, unless it was refused.
  const SILENT_MS = 6000, DOUBT_MS = 1500, AGAIN_MS = 2000;
  const shown = new Map();
  let source = null, heard = Date.now(), doubt = 0, again = 0;

  const isWell = () => {
    heard = Date.now();
    clearTimeout(doubt);
    doubt = 0;
    if (byId("lost").hidden) return;
    byId("lost").hidden = true;
    window.swingd.clear();
  };
  const isLost = () => (byId("lost").hidden = false);

  const follow = () => {
    clearTimeout(again);
    again = 0;
    source?.close();
    source = new EventSource(address);
    source.addEventListener("open", isWell);
    source.addEventListener("beat", isWell);
    source.addEventListener("part", (event) => {
      isWell();
      const { slot, html } = JSON.parse(event.data);
      const place = document.querySelector(`[data-slot="${CSS.escape(slot)}"]`);
      // What is the same is left alone, so that a touch is not lost in between.
      if (!place || shown.get(slot) === html) return;
      shown.set(slot, html);
      window.swingd.fill(place, html);
    });
    source.addEventListener("say", (event) => {
      isWell();
      const { text } = JSON.parse(event.data);
      if (byId("said")) byId("said").textContent = text;
      say(text);
    });
    source.addEventListener("error", () => {
      doubt ||= setTimeout(isLost, DOUBT_MS);
      if (source.readyState === EventSource.CLOSED) again ||= setTimeout(follow, AGAIN_MS);
    });
  };
  follow();
  setInterval(() => {
    if (!source || Date.now() - heard < SILENT_MS) return;
    isLost();
    heard = Date.now();
    follow();
  }, 1000);
  window.addEventListener("pagehide", () => {
    clearTimeout(doubt);
    clearTimeout(again);
    source?.close();
    source = null;
  });
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) follow();
  });

  // ---- Spoken numbers, by the browser's own voice.
  const speak = byId("speak");
  let isSpoken = kept("speak") === "yes";
  const say = (text) => {
    if (!isSpoken || !("speechSynthesis" in window)) return;
    window.speechSynthesis.cancel();
    const words = new SpeechSynthesisUtterance(text);
    words.lang = "en";
    window.speechSynthesis.speak(words);
  };
  if (speak && "speechSynthesis" in window) {
    speak.hidden = false;
    speak.setAttribute("aria-pressed", isSpoken);
    speak.addEventListener("click", () => {
      isSpoken = !isSpoken;
      keep("speak", isSpoken ? "yes" : "no");
      speak.setAttribute("aria-pressed", isSpoken);
      // The first words have to follow a touch, or browsers stay silent.
      if (isSpoken) say("Numbers are spoken.");
      else window.speechSynthesis.cancel();
    });
  }

  // ---- Keys: a press of data-hotkey touches its button or link.
  const keys = byId("keys");
  let hasKeys = kept("keys") !== "no";
  const showKeys = () => {
    keys.setAttribute("aria-pressed", hasKeys);
    keys.textContent = hasKeys ? "Keys are on" : "Keys are off";
  };
  if (keys) {
    showKeys();
    keys.addEventListener("click", () => {
      hasKeys = !hasKeys;
      keep("keys", hasKeys ? "yes" : "no");
      showKeys();
    });
    document.addEventListener("keydown", (event) => {
      if (!hasKeys || event.ctrlKey || event.altKey || event.metaKey || event.repeat || event.key.length !== 1) return;
      if (event.target.closest?.("input, select, textarea")) return;
      const places = document.querySelectorAll(`[data-hotkey="${CSS.escape(event.key.toLowerCase())}"]`);
      // Nothing happens to what is not shown.
      [...places].find((place) => place.getClientRects().length)?.click();
    });
  }

  // What was sent stands in the part that comes back; its field is as it was drawn again.
  document.addEventListener("sent", (event) => event.target.reset?.());
})();
