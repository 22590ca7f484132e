// What is told of a session that was just kept.
import { at, made } from "./ask.js";

/** Rows of the words found (with `verdictOf`, each with that of its own recording), the session’s notes and remedies. */
export function tellWords(kept, verdictOf = null) {
  at("kept-head").textContent = `Kept as session ${kept.session} of ${kept.client}`;
  at("found").replaceChildren(...kept.words.map((row) => {
    const line = made("tr");
    line.append(
      made("th", row.prompt_index, { scope: "row", className: "number" }),
      made("td", row.prompt),
      made("td", row.attempt ?? "", { className: "number" }),
      made("td", row.heard + (row.attempt > 1 && !row.counts ? "; an earlier attempt counts" : ""), { className: "said" }),
    );
    if (verdictOf) line.append(made("td", verdictOf(row.prompt_index)));
    return line;
  }));
  at("notes").replaceChildren(...kept.notes.map((line) => made("li", line)));
  at("remedies").replaceChildren(...kept.remedies.map((line) => made("li", line)));
}
