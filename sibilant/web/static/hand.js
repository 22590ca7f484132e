// A form that hands over files: the fields as a head, then the files, in one body; the answer is told in lines.
import { ROOT, made, tellFiles, tried } from "./ask.js";
import { watch } from "./wide.js";

for (const form of document.querySelectorAll("form[data-hand]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    tried(() => hand(form));
  });
}

async function hand(form) {
  const button = form.querySelector("button");
  const answer = form.parentElement.querySelector(`[data-answer]`);
  const fields = Object.fromEntries(new FormData(form));
  const files = [...form.querySelectorAll("input[type=file]")].flatMap((input) => [...input.files]);
  button.disabled = true;
  answer.hidden = true;
  try {
    const values = form.dataset.client ? { client: form.dataset.client } : {};
    const told = await tellFiles(form.dataset.hand, values, fields, files);
    show(answer, told);
  } finally {
    button.disabled = false;
  }
}

function show(answer, told) {
  answer.replaceChildren(...(told.lines || []).map((line) => made("p", line)));
  if (told.to) answer.append(Object.assign(made("a", "Go there"), { href: `${ROOT}${told.to}` }));
  if (told.columns) answer.append(table(told.columns, told.rows));
  answer.hidden = false;
  answer.scrollIntoView({ block: "nearest" });
}

function table(columns, rows) {
  const whole = made("table", "", { className: "tight" });
  const head = made("tr");
  head.append(...columns.map((name) => Object.assign(made("th", name), { scope: "col" })));
  const body = made("tbody");
  for (const row of rows) {
    const line = made("tr");
    line.append(...row.map((cell) => made("td", cell)));
    body.append(line);
  }
  const top = made("thead");
  top.append(head);
  whole.append(top, body);
  const box = made("div", "", { className: "wide", tabIndex: 0 });
  box.setAttribute("role", "region");
  box.setAttribute("aria-label", "What was found");
  box.append(whole);
  watch(box);
  return box;
}
