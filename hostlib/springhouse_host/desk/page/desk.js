// The page's fields, what it asks of the desk and what it is told.
'use strict';

const by = id => document.getElementById(id);
const AGAIN_MS = 2000;  // until a lost line is tried again
const SETTLED_MS = 700;  // without news, before an answer is read aloud

const fields = new Map();  // by key: what the desk said about it, its inputs, the value in the file
let line = null;
let place = 0;
let asked = 0;
let shown = 0;
let told = null;
let hearing = 0;
let proving = false;

function send(said) {
  if (line !== null && line.readyState === WebSocket.OPEN) line.send(JSON.stringify(said));
}

function values() {
  const found = {};
  for (const [key, field] of fields) {
    const value = read(field);
    if (value !== field.begun) found[key] = value;
  }
  return found;
}

function read(field) {
  if (field.kind === 'fitted') return field.input.checked;
  const text = field.input.value.trim();
  if (text !== '' && (field.kind === 'number' || field.kind === 'whole') && Number.isFinite(Number(text)))
    return Number(text);
  return text;
}

function ask(urgent) {
  asked += 1;
  document.body.dataset.asked = asked;
  by('answer').classList.add('waits');
  const chosen = values();
  tellChanged(chosen);
  send({ ask: asked, values: chosen, urgent });
}

function tellChanged(chosen) {
  const keys = Object.keys(chosen);
  for (const [key, field] of fields) field.box.classList.toggle('moved', key in chosen);
  const words = keys.map(key => {
    const field = fields.get(key);
    if (field.kind === 'fitted') return `${field.words} ${chosen[key] ? 'fitted' : 'left out'}`;
    return `${field.words} ${field.begun === '' ? 'none' : field.begun} → ${chosen[key] === '' ? 'none' : chosen[key]} ${field.unit ?? ''}`.trim();
  });
  by('changed').textContent = keys.length ? `Changed: ${words.join('; ')}.` : 'Nothing is changed yet.';
  by('keep').disabled = keys.length === 0;
  by('prove').textContent = keys.length ? 'Keep this and prove it' : 'Prove it';
}

function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

function build(groups) {
  for (const { group, fields: list } of groups) {
    const ticks = list.every(field => field.kind === 'fitted');
    const inside = element('div', ticks ? { class: 'ticks' } : {});
    for (const field of list) inside.append(makeField(field));
    by('form').append(element('fieldset', {}, element('legend', {}, group), inside));
  }
}

function makeField(field) {
  const id = field.key.replace('.', '-');
  const label = element('label', { for: id, id: `${id}-label` }, field.words);
  field.wrong = element('p', { class: 'wrong', id: `${id}-wrong`, hidden: '' });
  const hint = element('span', { class: 'hidden', id: `${id}-hint` }, field.allowed);
  field.box = element('div', { class: 'field', 'data-key': field.key });
  if (field.kind === 'fitted') {
    field.input = element('input', { type: 'checkbox', id, 'aria-describedby': `${id}-wrong` });
    field.input.checked = field.value;
    label.prepend(field.input);
    field.box.append(label, field.wrong);
    field.input.addEventListener('change', () => ask(true));
  } else {
    if (field.unit) label.append(' ', element('span', { class: 'unit' }, field.unit));
    field.input = element('input', {
      type: 'text', id, autocomplete: 'off', spellcheck: 'false', 'aria-describedby': `${id}-wrong ${id}-hint`,
    });
    field.input.value = field.value ?? '';
    field.box.append(label);
    if ('step' in field) {
      field.input.inputMode = 'decimal';
      field.slider = element('input', {
        type: 'range', id: `${id}-slider`, min: field.low, max: field.high, step: field.step,
        'aria-labelledby': `${id}-label`, 'aria-describedby': `${id}-wrong`,
      });
      slide(field);
      field.slider.addEventListener('input', () => {
        field.input.value = field.slider.value;
        ask(false);
      });
      field.slider.addEventListener('change', () => ask(true));
      field.box.append(element('div', { class: 'pair' }, field.slider, field.input));
    } else {
      field.box.append(field.input);
    }
    field.input.addEventListener('change', () => {
      slide(field);
      ask(true);
    });
    field.box.append(hint, field.wrong);
  }
  field.begun = read(field);
  fields.set(field.key, field);
  return field.box;
}

function slide(field) {
  const value = read(field);
  if (field.slider && typeof value === 'number') field.slider.value = value;
}

function table(id, { head, rows, caption }) {
  const box = by(id);
  const texts = [head, ...rows];
  const there = [...box.querySelectorAll('tr')];
  const same = there.length === texts.length && there.every((row, n) => row.cells.length === texts[n].length);
  if (same) {  // most of it stays as it was: only what changed is laid out anew
    there.forEach((row, n) => [...row.cells].forEach((cell, k) => {
      if (cell.textContent !== texts[n][k]) cell.textContent = texts[n][k];
      cell.classList.remove('waits');
    }));
    if (caption) box.querySelector('caption').textContent = caption;
  } else {
    const cells = (row, n) => row.map((text, k) => k === 0 && n >= 0
      ? element('th', { scope: 'row' }, text) : element(n < 0 ? 'th' : 'td', n < 0 ? { scope: 'col' } : {}, text));
    const made = element('table', { class: id },
      element('thead', {}, element('tr', {}, ...cells(head, -1))),
      element('tbody', {}, ...rows.map((row, n) => element('tr', {}, ...cells(row, n)))));
    if (caption) made.prepend(element('caption', {}, caption));
    box.replaceChildren(made);
  }
  if (wider.size === 0) requestAnimationFrame(tellWider);
  wider.set(box, caption ?? head[0]);
}

// A keyboard needs to reach a table only where it is wider than its place. All are measured at once.
const wider = new Map();
function tellWider() {
  const found = [...wider].map(([box, name]) => [box, name, box.scrollWidth > box.clientWidth]);
  wider.clear();
  for (const [box, name, wide] of found)
    for (const [key, value] of [['tabindex', '0'], ['role', 'region'], ['aria-label', name]])
      if (wide) box.setAttribute(key, value); else box.removeAttribute(key);
}

function clearWrong() {
  for (const field of fields.values()) {
    field.wrong.hidden = true;
    field.input.removeAttribute('aria-invalid');
  }
  by('wrong').hidden = true;
  by('wrong').replaceChildren();
}

function hear(text) {
  clearTimeout(hearing);
  hearing = setTimeout(() => { by('heard').textContent = text; }, SETTLED_MS);
}

function showWeek(said) {
  clearWrong();
  told = said;
  by('answer').textContent = said.answer;
  by('answer').classList.toggle('broken', !said.kept);
  by('answer').classList.toggle('waits', asked > said.n);
  table('figures', said.figures);
  table('promises', said.promises);
  table('days', said.days);
  drawInstallation(said.drawing);
  drawWeek(said.chart);
  hear(said.answer);
  shown = said.n;
  document.body.dataset.shown = shown;
}

// The weakest reading comes first: its column and its curves, what is older waits in grey.
function showFirst(said) {
  by('answer').textContent = said.answer;
  by('answer').classList.add('waits');
  if (told === null) return;
  [...by('figures').querySelectorAll('tbody tr')].forEach((row, n) => {
    row.cells[1].textContent = said.column[n];
    for (const cell of [...row.cells].slice(2)) cell.classList.add('waits');
  });
  told.chart.room[said.reading] = said.room;
  told.chart.store[said.reading] = said.store;
  drawWeek(told.chart);
  document.body.dataset.first = said.n;
}

function showRefused(said) {
  clearWrong();
  for (const { key, text } of said.lines) {
    const field = key === null ? undefined : fields.get(key);
    if (field === undefined) {
      by('wrong').append(element('li', {}, text));
      by('wrong').hidden = false;
    } else {
      field.wrong.textContent = field.wrong.hidden ? text : `${field.wrong.textContent} ${text}`;
      field.wrong.hidden = false;
      field.input.setAttribute('aria-invalid', 'true');
    }
  }
  by('answer').classList.remove('waits');
  hear(`Refused: ${said.lines.map(one => one.text).join('. ')}. The figures are those of before.`);
  document.body.dataset.refused = said.n;
}

function showParts(said) {
  table('parts', said.parts);
  table('open', said.open);
  by('prices').textContent = said.prices;
  by('unmet').hidden = said.wrong.length === 0;
  by('unmet').replaceChildren(...said.wrong.map(text => element('li', {}, text)));
  for (const box of by('drawings').children) if (box.open) load(box, said.n);
}

function load(box, number) {
  const picture = box.querySelector('img');
  picture.src = `drawing/${place}/${box.dataset.name}?n=${number}`;
}

function begin(said) {
  if (fields.size > 0) {  // the line was lost and is back
    ask(true);
    return;
  }
  document.title = `${said.name}: springhouse desk`;
  by('name').textContent = said.name;
  by('from').textContent = `${said.file}, ${said.evidence}`;
  build(said.groups);
  const titles = { plumbing: 'Plumbing', schematic: 'Schematic of the low-voltage side', mains: 'Mains side' };
  for (const name of said.drawings) {
    const title = titles[name.split(/[-.]/)[0]];
    const picture = element('img', { class: 'picture', alt: `${title}; its parts are in the list above` });
    const box = element('details', { 'data-name': name }, element('summary', {}, title), picture);
    box.addEventListener('toggle', () => { if (box.open) load(box, shown); });
    by('drawings').append(box);
  }
  ask(true);
}

function showProof(said) {
  by('proof').hidden = false;
  if ('doing' in said) {
    proving = true;
    by('doing').textContent = said.total ? `${said.doing}: ${said.done} of ${said.total}` : said.doing;
    if (said.total) {
      by('progress').max = said.total;
      by('progress').value = said.done;
    } else {
      by('progress').removeAttribute('value');
      by('proved').textContent = '';
      by('links').replaceChildren();
    }
  }
  if ('headline' in said) {
    by('proved').textContent = `${said.path}: ${said.headline}`;
    by('verdict').textContent = said.text;
    by('verdict-box').hidden = false;
  }
  if ('report' in said) {
    proving = false;
    by('links').replaceChildren(
      element('a', { href: 'report', target: '_blank', rel: 'noopener' }, 'The report with all charts'),
      `, ${said.report}; record for flashing: ${said.record}`);
  }
  if ('refused' in said) {
    proving = false;
    by('proved').textContent = said.refused.join(' ');
  }
  for (const id of ['doing', 'progress', 'stop']) by(id).hidden = !proving;
  by('prove').disabled = proving;
}

const HEARD = {
  place: said => { place = said.place; },
  begin,
  first: showFirst,
  week: showWeek,
  refused: showRefused,
  parts: said => { if (said.n === shown) showParts(said); },
  sheet: said => {
    if (said.n !== shown) return;
    table('sheet', said.sheet);
    by('first').textContent = said.first;
    document.body.dataset.sheet = said.sheet.rows.some(row => row.includes('…')) ? '' : said.n;
  },
  nosheet: said => { by('first').textContent = said.lines.join(' '); },
  kept: said => { by('kept').textContent = `Kept as ${said.path}; the file before is as it was.`; },
  proof: showProof,
  full: said => tellLine(`The desk has ${said.most} pages open already: close one and load this again.`),
};

function tellLine(text) {
  by('line').textContent = text;
  by('line').hidden = text === '';
}

function connect() {
  line = new WebSocket(`${location.href.replace(/^http/, 'ws').replace(/[^/]*$/, '')}live`);
  line.addEventListener('open', () => tellLine(''));
  line.addEventListener('message', event => {
    const said = JSON.parse(event.data);
    HEARD[said.kind](said);
  });
  line.addEventListener('close', event => {
    if (by('line').hidden)
      tellLine('The desk does not answer: what you see is its last answer. If it was closed, start it again and open the address it prints.');
    if (event.code !== 1000) setTimeout(connect, AGAIN_MS);
  });
}

watchSizes(() => { if (told !== null) drawWeek(told.chart); });
by('form').addEventListener('submit', event => event.preventDefault());
by('keep').addEventListener('click', () => send({ keep: true, values: values() }));
by('prove').addEventListener('click', () => send({ prove: true, values: values() }));
by('stop').addEventListener('click', () => send({ stop: true }));
by('back').addEventListener('click', () => {
  for (const field of fields.values()) {
    if (field.kind === 'fitted') field.input.checked = field.begun;
    else field.input.value = field.begun;
    slide(field);
  }
  ask(true);
});
tellChanged({});
connect();
