// Fills the charts with the run that is asked for and keeps one time for all of them.
"use strict";

const HOUR_MS = 3600000;
const DAY_MS = 24 * HOUR_MS;
const LEAST_MS = 10 * 60000; // no closer look than that
const BY_THE_HOUR_DAYS = 3; // tables of longer runs have a row a day

const byId = (id) => document.getElementById(id);
const page = JSON.parse(byId("page-data").textContent);
const dark = matchMedia("(prefers-color-scheme: dark)");
const narrow = matchMedia("(max-width: 40rem)");

let bokeh = null; // bokeh's document
let run = null; // what is shown: its meta data and columns

async function inflate(id) {
  const text = atob(byId(id).textContent);
  const bytes = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

// The columns of packing.py: differences of 16 bits, low bytes before high bytes, -32768 a gap.
function unpack(planes, meta) {
  const columns = {};
  let low = 0;
  for (const [name, step] of Object.entries(meta.steps)) {
    const high = low + meta.rows;
    const values = new Float64Array(meta.rows);
    let whole = 0;
    for (let i = 0; i < meta.rows; i++) {
      whole = ((whole + planes[low + i] + 256 * planes[high + i]) << 16) >> 16;
      values[i] = whole === -32768 ? NaN : whole * step;
    }
    columns[name] = values;
    low = high + meta.rows;
  }
  return columns;
}

async function load(number) {
  const meta = JSON.parse(new TextDecoder().decode(await inflate(`meta-${number}`)));
  const columns = unpack(await inflate(`samples-${number}`), meta);
  const at = Float64Array.from(columns.room_air_c, (_, i) => meta.start_ms + i * meta.step_s * 1000);
  return { number, ...meta, columns, at, end_ms: meta.start_ms + meta.days * DAY_MS };
}

function fill() {
  bokeh.get_model_by_name("samples").data = { at: run.at, ...run.columns };
  for (const { key } of page.strips) {
    const ms = (place) => run.strips[key].map((span) => run.start_ms + span[place] * 1000);
    bokeh.get_model_by_name(`strip ${key}`).data = { left: ms(0), right: ms(1) };
  }
  for (const [key, sentence] of Object.entries(run.sentences)) {
    byId(`told-${key}`).textContent = sentence;
  }
  for (const row of document.querySelectorAll(".legend [data-strip]")) {
    row.hidden = run.strips[row.dataset.strip].length === 0;
  }
  for (const row of document.querySelectorAll(".legend [data-column]")) {
    row.hidden = run.columns[row.dataset.column].every(Number.isNaN);
  }
  byId("sums").replaceChildren(byId(`sums-${run.number}`).content.cloneNode(true));
  byId("sums-name").textContent = run.name;
  for (const details of document.querySelectorAll("details.numbers")) {
    details.querySelector(".scroll").replaceChildren();
    if (details.open) tabulate(details);
  }
  const slider = byId("at");
  slider.max = run.rows - 1;
  slider.value = Math.round(run.look_s / run.step_s);
  look(Number(slider.value));
  show(run.start_ms, run.end_ms);
}

async function choose(number) {
  run = await load(number);
  fill();
}

// Time: one range for all charts.

const range = () => bokeh.get_model_by_name("times");

function show(start, end) {
  const length = Math.min(Math.max(end - start, LEAST_MS), run.end_ms - run.start_ms);
  const from = Math.min(Math.max(start, run.start_ms), run.end_ms - length);
  range().setv({ start: from, end: from + length });
}

function move(share) {
  const { start, end } = range();
  show(start + share * (end - start), end + share * (end - start));
}

function scale(factor) {
  const { start, end } = range();
  const chosen = run.at[byId("at").value];
  const centre = chosen >= start && chosen <= end ? chosen : (start + end) / 2;
  show(centre - (centre - start) * factor, centre + (end - centre) * factor);
}

function oneDay() {
  const midnight = Math.floor(run.at[byId("at").value] / DAY_MS) * DAY_MS;
  show(midnight, midnight + DAY_MS);
}

// Wall-clock time of the installation; the reader's own time zone has no part in it.
const clock = new Intl.DateTimeFormat("en-GB", {
  timeZone: "UTC", weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit",
});

function tellRange() {
  const { start, end } = range();
  byId("shown").textContent = `${clock.format(start)} to ${clock.format(end)}`;
}

// The moment: a line on every chart, the store drawn, the words.

function measure(name, row, digits) {
  const value = run.columns[name][row];
  return Number.isNaN(value) ? "" : `${value.toFixed(digits)} ${page.columns[name].unit}`;
}

function stateAt(seconds) {
  let found = run.states[0];
  for (const state of run.states) {
    if (state[0] > seconds) break;
    found = state;
  }
  return found;
}

function priceAt(seconds) {
  let found = run.prices[0];
  for (const price of run.prices) {
    if (price[0] > seconds) break;
    found = price;
  }
  return found[2];
}

function look(row) {
  const seconds = row * run.step_s;
  const [, store, room] = stateAt(seconds);
  const layers = [5, 4, 3, 2, 1, 0].map((i) => measure(`water_${i}_c`, row, 1));
  const say = (id, text) => { byId(id).textContent = text; };
  layers.forEach((text, place) => say(`layer-${5 - place}`, text));
  const time = clock.format(run.at[row]);
  const iced = run.columns.ice_kg[row] >= 0.001;
  say("ice-drawn", iced ? "ice at the wall" : "");
  say("now-time", time);
  say("now-store", store < 0 ? page.noSupply : page.storeWords[store]);
  say("now-room", room < 0 ? page.noSupply : page.roomWords[room]);
  say("now-layers", layers.join(", "));
  say("now-ice", iced ? measure("ice_kg", row, 3) : "none");
  say("now-air", `${measure("room_air_c", row, 1)}, ${measure("outdoor_c", row, 1)}`);
  say("now-coil", measure("air_off_c", row, 1) || "fan off");
  const price = `${priceAt(seconds).toFixed(3)} ${page.currency}`.trim();
  say("now-mains", `${measure("mains_w", row, 0)} at ${price}/kWh`);
  byId("at").setAttribute("aria-valuetext", time);
  for (const plot of bokeh.roots()) {
    bokeh.get_model_by_name(`moment ${plot.name}`).location = run.at[row];
  }
}

function lookAt(ms) {
  const row = Math.round((ms - run.start_ms) / (run.step_s * 1000));
  const slider = byId("at");
  slider.value = Math.min(Math.max(row, 0), run.rows - 1);
  look(Number(slider.value));
}

// Tables behind the charts: lowest to highest of each hour or day; of strips the minutes on.

function buckets() {
  const length = run.days > BY_THE_HOUR_DAYS ? DAY_MS : HOUR_MS;
  const found = [];
  for (let from = run.start_ms; from < run.end_ms; from += length) {
    found.push([from, Math.min(from + length, run.end_ms)]);
  }
  return found;
}

function extent(name, from, to) {
  let least = Infinity;
  let most = -Infinity;
  for (let i = 0; i < run.rows; i++) {
    const value = run.columns[name][i];
    if (run.at[i] < from || run.at[i] >= to || Number.isNaN(value)) continue;
    least = Math.min(least, value);
    most = Math.max(most, value);
  }
  if (least > most) return "";
  const digits = page.columns[name].unit === "W" ? 0 : name === "ice_kg" ? 3 : 1;
  return `${least.toFixed(digits)} to ${most.toFixed(digits)}`;
}

function minutesOn(key, from, to) {
  let ms = 0;
  for (const [left, right] of run.strips[key]) {
    const begin = Math.max(from, run.start_ms + left * 1000);
    ms += Math.max(0, Math.min(to, run.start_ms + right * 1000) - begin);
  }
  return (ms / 60000).toFixed(1).replace(/\.0$/, "");
}

function cell(row, kind, text) {
  const made = document.createElement(kind);
  made.textContent = text;
  if (kind === "th") made.scope = row.parentNode.tagName === "THEAD" ? "col" : "row";
  if (kind === "td") made.className = "number";
  row.append(made);
}

function tabulate(details) {
  const key = details.dataset.chart;
  const strips = key === "strips";
  const columns = strips ? page.strips : page.charts[key].map((name) => ({ key: name, ...page.columns[name] }));
  const table = document.createElement("table");
  const head = table.createTHead().insertRow();
  cell(head, "th", run.days > BY_THE_HOUR_DAYS ? "day from" : "hour from");
  for (const { words, unit } of columns) cell(head, "th", strips ? `${words} [min]` : `${words} [${unit}]`);
  const body = table.createTBody();
  for (const [from, to] of buckets()) {
    const row = body.insertRow();
    cell(row, "th", clock.format(from));
    for (const { key: name } of columns) {
      cell(row, "td", strips ? minutesOn(name, from, to) : extent(name, from, to));
    }
  }
  details.querySelector(".scroll").replaceChildren(table);
}

// Colours follow the page.

function paint() {
  for (const [id, prop, light, night] of page.skin) {
    bokeh.get_model_by_id(id).setv({ [prop]: dark.matches ? night : light });
  }
}

// Fewer and shorter dates where there is no room for them.
function fit() {
  for (const plot of bokeh.roots()) {
    const axis = plot.below[0];
    axis.ticker.desired_num_ticks = narrow.matches ? 3 : 5;
    axis.formatter.days = narrow.matches ? "%d %b" : "%a %d %b";
  }
}

// A mouse zooms by dragging and moves the moment by hovering; see the style for fingers.
function listen() {
  for (const plot of bokeh.roots()) {
    const zoom = plot.toolbar.tools.find((tool) => tool.type === "BoxZoomTool");
    if (matchMedia("(pointer: fine)").matches) zoom.active = true;
    plot.on_event("mousemove", (event) => lookAt(event.x));
    plot.on_event("doubletap", () => show(run.start_ms, run.end_ms));
  }
  range().change.connect(tellRange);
  const on = (id, act) => byId(id).addEventListener("click", act);
  on("earlier", () => move(-0.5));
  on("later", () => move(0.5));
  on("closer", () => scale(0.5));
  on("wider", () => scale(2));
  on("day", oneDay);
  on("whole", () => show(run.start_ms, run.end_ms));
  byId("at").addEventListener("input", (event) => look(Number(event.target.value)));
  byId("run")?.addEventListener("change", (event) => choose(Number(event.target.value)));
  for (const button of document.querySelectorAll("button.show")) {
    button.addEventListener("click", async () => {
      byId("run").value = button.dataset.run;
      await choose(Number(button.dataset.run));
      byId("runs").scrollIntoView();
      byId("run").focus({ preventScroll: true });
    });
  }
  for (const details of document.querySelectorAll("details.numbers")) {
    details.addEventListener("toggle", () => { if (details.open) tabulate(details); });
  }
  dark.addEventListener("change", paint);
  narrow.addEventListener("change", fit);
}

async function begin() {
  await Bokeh.embed.embed_items(page.bokeh.documents, page.bokeh.items);
  bokeh = Bokeh.documents[0];
  paint();
  fit();
  run = await load(page.first);
  listen();
  fill();
  document.body.dataset.ready = "yes";
}

begin().catch((error) => {
  byId("trouble").textContent = `The charts cannot be drawn by this browser: ${error.message}`;
  throw error;
});
