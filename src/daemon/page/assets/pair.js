// A pairing code behind # in the address goes into its field, and out of the address, which stays in the history.
"use strict";
(() => {
  const field = document.querySelector("#code");
  if (!field) return;
  const take = () => {
    const code = window.location.hash.slice(1);
    if (!/^[2-9A-Z]{4}-?[2-9A-Z]{4}$/i.test(code)) return;
    field.value = code;
    window.history.replaceState(null, "", window.location.pathname);
    field.form.querySelector("button").focus();
  };
  window.addEventListener("hashchange", take);
  take();
})();
