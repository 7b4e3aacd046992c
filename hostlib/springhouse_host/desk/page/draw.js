// Draws the installation and the week's charts. All numbers come in the page's units.
'use strict';

const SVG = 'http://www.w3.org/2000/svg';

function shape(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

// Heights are to scale, widths are not.
function drawInstallation(told) {
  const svg = document.getElementById('drawing');
  const low = 380, high = 70;
  const top = Math.max(told.coil_m + 0.35, told.rim_m + 0.2, told.break_m + 0.1);
  const y = metres => low - (low - high) * metres / top;
  const texts = told.texts;
  const parts = [];
  const put = (name, attributes, text) => parts.push(shape(name, attributes, text));
  const word = (x, at, text, more = {}) => put('text', { x, y: at, ...more }, text);
  put('rect', { class: 'box', x: 10, y: 30, width: 300, height: low - 20 });
  put('rect', { class: 'box', x: 350, y: 30, width: 340, height: low - 20 });
  put('path', { class: 'thin', d: `M10 ${low} H690` });
  word(20, 22, 'where the freezer stands', { class: 'big' });
  word(360, 22, texts.room, { class: 'big' });
  const left = 40, wide = 170;
  put('rect', { class: 'water', x: left, y: y(told.water_m), width: wide, height: low - y(told.water_m) });
  put('rect', { class: 'box', x: left, y: y(told.rim_m), width: wide, height: low - y(told.rim_m) });
  const middle = 0.5 * (y(told.water_m) + low);
  [[texts.store, 'big'], [texts.deep, ''], [texts.shallow, '']].forEach(([text, kind], n) =>
    word(left + wide / 2, middle - 14 + 20 * n, text, { class: kind, 'text-anchor': 'middle' }));
  word(20, low + 22, texts.freezer);
  for (const at of [told.low_m, told.high_m])
    if (at !== null) put('circle', { class: 'spot', cx: left + 14, cy: y(at), r: 6 });
  const coilX = 470, coilY = y(told.coil_m);
  put('path', { class: 'tube', d: `M${left + wide - 14} ${y(told.draw_m)} H235 V${coilY + 12} H${coilX}` });
  put('path', { class: 'tube', d: `M${left + wide - 14} ${y(told.return_m)} V${y(told.break_m)} H265 V${coilY - 12} H${coilX}` });
  put('circle', { class: 'fan', cx: 235, cy: low - 28, r: 12 });
  word(228, low + 22, texts.flow);
  put('rect', { class: 'box', x: coilX, y: coilY - 32, width: 36, height: 64 });
  for (let row = 1; row < 4; row += 1)
    put('path', { class: 'thin', d: `M${coilX + 9 * row} ${coilY - 32} v64` });
  const fans = Math.min(told.fans, 4);
  for (let fan = 0; fan < fans; fan += 1)
    put('circle', { class: 'fan', cx: coilX + 58, cy: coilY - 24 + (fan + 0.5) * 48 / fans, r: 22 / fans });
  put('path', { class: 'box', d: `M${coilX - 12} ${coilY + 40} v12 h90 v-12` });
  word(coilX + 90, coilY - 14, texts.coil);
  word(coilX + 90, coilY + 8, texts.fans);
  word(coilX + 90, coilY + 56, texts.tray);
  put('path', { class: 'thin', d: `M${left} ${y(told.water_m)} H400 V${coilY}` });
  word(406, 0.5 * (y(told.water_m) + Math.min(coilY + 90, low)), texts.lift);
  word(360, low - 10, texts.tube);
  const words = document.getElementById('drawing-words');
  words.textContent = Object.values(texts).join('; ');
  const title = document.getElementById('drawing-title');
  svg.replaceChildren(title, words, ...parts);
  const names = {
    store: 'store', deep: 'in charging hours', shallow: 'outside them', freezer: 'freezer', tube: 'tube', flow: 'flow', lift: 'coil above water',
    coil: 'coil', fans: 'fans', room: 'promise', water: 'water', tray: 'tray',
  };
  document.getElementById('numbers').replaceChildren(...Object.entries(names).flatMap(([key, name]) => {
    const term = document.createElement('dt'), given = document.createElement('dd');
    term.textContent = name;
    given.textContent = texts[key];
    const pair = document.createElement('div');
    pair.append(term, given);
    return pair;
  }));
}

const FOOT = 18;  // pixels below the curves, for the days
// Width and height of each chart, told by the browser: to ask for them would lay out the page anew.
const sizes = new Map();

function watchSizes(redraw) {
  const watching = new ResizeObserver(seen => {
    for (const { target, contentRect } of seen) sizes.set(target.id, [contentRect.width, contentRect.height]);
    redraw();
  });
  for (const chart of document.querySelectorAll('.chart')) watching.observe(chart);
}

function drawChart(id, told, lines, limit) {
  const svg = document.getElementById(id);
  const [WIDE, TALL] = sizes.get(id) ?? [640, 240];
  const all = lines.flatMap(([, values]) => values).concat(limit === null ? [] : [limit]);
  const low = Math.floor(Math.min(...all) - 0.5), high = Math.ceil(Math.max(...all) + 0.5);
  const minutes = told.days.length * 1440;
  const x = minute => WIDE * minute / minutes;
  const y = value => (TALL - FOOT) * (high - value) / (high - low);
  const parts = [];
  const put = (name, attributes, text) => parts.push(shape(name, attributes, text));
  for (const [from, to] of told.wanted)
    put('rect', { class: 'wanted', x: x(from), y: 0, width: x(to - from), height: TALL - FOOT });
  for (const [from, to] of told.charging)
    put('rect', { class: 'on', x: x(from), y: TALL - FOOT - 5, width: x(to - from), height: 5 });
  const step = [1, 2, 5, 10, 20].find(s => (high - low) / s <= 7) ?? 50;
  for (let value = Math.ceil(low / step) * step; value < high; value += step) {
    put('path', { class: 'grid', d: `M0 ${y(value)} H${WIDE}` });
    if (y(value) > 14) put('text', { x: 4, y: y(value) - 3 }, `${value} ${told.unit}`);
  }
  told.days.forEach((day, n) => {
    put('path', { class: 'grid', d: `M${x(n * 1440)} 0 V${TALL}` });
    put('text', { x: x(n * 1440) + 4, y: TALL - 4 }, day);
  });
  if (limit !== null) put('path', { class: 'limit', d: `M0 ${y(limit)} H${WIDE}` });
  for (const [kind, values] of lines) {
    const points = values.map((value, n) => `${x(n * told.minutes).toFixed(1)} ${y(value).toFixed(1)}`);
    put('path', { class: kind, d: `M${points.join('L')}` });
  }
  svg.setAttribute('viewBox', `0 0 ${WIDE} ${TALL}`);
  svg.replaceChildren(...parts);
}

function drawWeek(told) {
  const lines = which => Object.entries(told[which]);
  drawChart('room-chart', told, [...lines('room'), ['outdoors', told.outdoor]], told.limit);
  drawChart('store-chart', told, lines('store'), null);
  const rows = [...lines('room').map(([kind]) => [kind, `${kind} reading`]), ['outdoors', 'outdoors'], ['limit', 'promised bound']];
  document.getElementById('legend').replaceChildren(...rows.map(([kind, text]) => {
    const row = document.createElement('li');
    const key = shape('svg', { viewBox: '0 0 34 12', 'aria-hidden': 'true', class: 'chart-key' });
    key.append(shape('path', { class: kind, d: 'M0 6 H34', fill: 'none' }));
    row.append(key, text);
    return row;
  }));
  const hottest = Math.max(...lines('room').flatMap(([, values]) => values));
  document.getElementById('room-words').textContent =
    `The room's air reaches ${hottest.toFixed(1)} ${told.unit}, wanted or not; outdoors ${Math.max(...told.outdoor).toFixed(1)} ${told.unit}.`;
}
