// The marks of judgement on the screen: what is chosen, put back, and called.
import { at } from "./ask.js";

function picked(name) {
  return document.querySelector(`#listening input[name=${name}]:checked`)?.value || "";
}

/** Sign and name of a mark by the word that is kept. */
export function markOf(heard) {
  const { sign, name } = document.querySelector(`#marks input[value="${CSS.escape(heard)}"]`).dataset;
  return { sign, name };
}

/** Put back what stands of a word, or nothing at all: no choice is made beforehand. */
export function fill(before) {
  for (const input of document.querySelectorAll("#listening fieldset input")) input.checked = false;
  at("substitute").value = before?.substitute || "";
  at("note").value = before?.note || "";
  placeLine(before?.line ?? null);
  if (before) {
    document.querySelector(`#marks input[value=${before.heard}]`).checked = true;
    for (const kind of before.types) document.querySelector(`#kinds input[value=${kind}]`).checked = true;
    if (before.certainty) document.querySelector(`#certain input[value=${before.certainty}]`).checked = true;
  }
  follow();
}

/** A place on the line from 0 to 100; none until somebody has put it there. */
export function placeLine(value) {
  const line = at("line");
  line.classList.toggle("unplaced", value === null);
  line.value = value ?? 50;
  line.setAttribute("aria-valuetext", value === null ? "not placed" : `${value} of 100`);
}

export function follow() {
  at("kinds").hidden = picked("heard") !== "distorted";
  at("instead").hidden = picked("heard") !== "substituted";
}

/** What is chosen now. */
export function said() {
  const types = [...document.querySelectorAll("#kinds input:checked")].map((kind) => kind.value);
  return {
    heard: picked("heard"),
    types: picked("heard") === "distorted" ? types : [],
    substitute: picked("heard") === "substituted" ? at("substitute").value : "",
    certainty: picked("certainty"),
    note: at("note").value,
    line: at("line").classList.contains("unplaced") ? null : Number(at("line").value),
  };
}

export function toggleCertainty() {
  const [sure, unsure] = document.querySelectorAll("#certain input");
  (sure.checked ? unsure : sure).checked = true;
}

at("line")?.addEventListener("input", () => placeLine(Number(at("line").value)));
at("line")?.addEventListener("click", () => placeLine(Number(at("line").value)));
