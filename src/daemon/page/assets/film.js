// A film's sound goes to the service, which says where the lesson's swings are in it; captions and times become files to save.
(() => {
  const form = document.getElementById("film");
  if (!form) return;
  const answer = document.getElementById("film-answer");
  const button = form.querySelector("button");
  // The service listens to an hour in some seconds; a slow network takes longer.
  const PATIENCE_MS = 600000;
  let links = [];

  const say = (words) => {
    const place = document.createElement("p");
    place.textContent = words;
    return place;
  };

  const ended = (words) => (/[.?!]$/.test(words) ? words : `${words}.`);

  const saved = (text, kind, name, words) => {
    const link = document.createElement("a");
    link.className = "button";
    link.href = URL.createObjectURL(new Blob([text], { type: kind }));
    link.download = name;
    link.textContent = words;
    links.push(link.href);
    return link;
  };

  const show = (said) => {
    links.forEach((link) => URL.revokeObjectURL(link));
    links = [];
    const fewer = said.cracks_left_out ? ` ${said.cracks_left_out} fainter sounds were left out.` : "";
    if (!said.matched) return answer.replaceChildren(say(`Not matched: ${ended(said.reason)}${fewer}`));
    const within = (1.96 * said.offset_sigma_s * 1000).toFixed(1);
    const sense = said.is_seen ? "seen" : "heard";
    const times = document.createElement("ol");
    for (const contact of said.contacts) {
      const item = document.createElement("li");
      const none = contact.met_ball ? "" : ", no ball met";
      item.value = contact.number;
      item.textContent = `${contact.film_s.toFixed(3)} ± ${(1.96 * contact.sigma_s).toFixed(3)} s${none}`;
      times.append(item);
    }
    const row = document.createElement("p");
    row.className = "row";
    row.append(
      saved(said.captions, "text/vtt", "swings.vtt", "Save the captions"),
      saved(said.contacts_csv, "text/csv", "contacts.csv", "Save the contact times"),
    );
    answer.replaceChildren(
      say(`Matched: ${said.matched_contacts} of ${said.contacts_in_clip} contacts in the clip have a crack (${said.cracks_found} sharp sounds were heard). Its place is known to ± ${within} ms.${fewer}`),
      row,
      say(`Contacts as they are ${sense}, from the film's beginning:`),
      times,
    );
  };

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const asked = new URLSearchParams({ units: form.dataset.units });
    const distance = form.elements.distance.value.trim().replace(",", ".");
    const round = form.elements.round?.value;
    if (round) asked.set("round", round);
    if (distance) asked.set("distance_m", String(Number(distance) * Number(form.dataset.factor)));
    button.ariaBusy = "true";
    answer.replaceChildren(say("Listening …"));
    try {
      const sent = await fetch(`${form.dataset.film}?${asked}`, {
        method: "POST",
        headers: { "Content-Type": "audio/wav" },
        body: form.elements.sound.files[0],
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      const said = await sent.json();
      if (sent.ok) show(said);
      else answer.replaceChildren(say(`${said.title}: ${said.errors?.[0]?.detail ?? said.detail}`));
    } catch {
      answer.replaceChildren(say("The service was not reached. Try again."));
    } finally {
      button.ariaBusy = null;
    }
  });
})();
