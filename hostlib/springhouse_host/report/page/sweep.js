// Draws the maps and gives them the colours of a light or a dark page.
"use strict";

const page = JSON.parse(document.getElementById("page-data").textContent);
const dark = matchMedia("(prefers-color-scheme: dark)");

function paint() {
  for (const [id, prop, light, night] of page.skin) {
    Bokeh.documents[0].get_model_by_id(id).setv({ [prop]: dark.matches ? night : light });
  }
}

async function begin() {
  if (page.bokeh) {
    await Bokeh.embed.embed_items(page.bokeh.documents, page.bokeh.items);
    paint();
    dark.addEventListener("change", paint);
  }
  document.body.dataset.ready = "yes";
}

begin();
