// What is told of a session that was just kept, and the question that may come before it is.
import { at, made } from "./ask.js";

/** The question's words without the command line's options, each of which is a button here. */
export function questionWords(line) {
  return line.replace(/ Then say --modelled: w/, " If so, w").replace(/ If it is none, --no-name.*$/, "").replace(/[.;] (If not, )?--anyway.*$/, ".");
}

/** Rows of the words found, the session’s notes and remedies. */
export function tellWords(kept) {
  at("kept-head").textContent = `Kept as session ${kept.session} of ${kept.client}`;
  at("found").replaceChildren(...kept.words.map((row) => {
    const line = made("tr");
    line.append(
      made("th", row.prompt_index, { scope: "row", className: "number" }),
      made("td", row.prompt),
      made("td", row.attempt ?? "", { className: "number" }),
      made("td", row.heard + (row.attempt > 1 && !row.counts ? "; an earlier attempt counts" : ""), { className: "said" }),
    );
    return line;
  }));
  at("notes").replaceChildren(...kept.notes.filter((line) => !/sibilant \w+|--/.test(line)).map((line) => made("li", line)));
  at("remedies").replaceChildren(...kept.remedies.map((line) => made("li", line)));
}
