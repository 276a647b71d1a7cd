// Arguments: role, name. The element that a person would mean: one to be seen, whose name is, else begins with, else holds the
// words. Names as a screen reader has them (W3C, Accessible Name and Description Computation), of what these pages use.
const [role, wanted] = arguments;
const places = {
  button: "button, [role=button], summary, a.button",
  link: "a[href]",
  touch: "button, [role=button], summary, a[href]",
  field: "input, select, textarea",
  heading: "h1, h2, h3",
  region: "section, main, nav, [role=region], [role=group], fieldset, figure, table",
};
const plain = (text) => (text ?? "").replace(/\s+/g, " ").trim().toLowerCase();
const labels = (element) =>
  [...(element.labels ?? [])]
    .map((label) => {
      const copy = label.cloneNode(true);
      copy.querySelectorAll("select, textarea").forEach((field) => field.remove());
      return copy.textContent;
    })
    .join(" ");
const nameOf = (element) => {
  const by = element.getAttribute("aria-labelledby");
  if (by) return by.split(/\s+/).map((id) => document.getElementById(id)?.textContent ?? "").join(" ");
  const inside = element.querySelector(":scope > legend, :scope > figcaption, :scope > caption");
  return element.getAttribute("aria-label") || labels(element) || inside?.textContent || element.textContent || element.title;
};
const isSeen = (element) => element.checkVisibility({ visibilityProperty: true }) && element.getClientRects().length > 0;
const named = [...document.querySelectorAll(places[role])].filter(isSeen).map((element) => [element, plain(nameOf(element))]);
const words = plain(wanted);
const find = (fits) => named.find(([, name]) => fits(name))?.[0];
return find((name) => name === words) ?? find((name) => name.startsWith(words)) ?? find((name) => name.includes(words)) ?? null;
