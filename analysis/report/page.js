"use strict";
(function () {
  // Below this width a row's value stands under its name and not beside it. [pixels]
  const NARROW = 520, ROW = 60, FOOT = 52, LEGEND_ROW = 22;

  function narrowed(layout, entries) {
    const notes = layout.annotations || [];
    const values = notes.filter((note) => note.xanchor === "right");
    if (values.length === 0) { return layout; }
    const names = notes.filter((note) => note.xanchor === "left" && note.yref === "y");
    if (names.length === 0) { return layout; }
    const legend = layout.showlegend ? Math.ceil(entries / 2) * LEGEND_ROW : 0;
    names.forEach(function (note, at) {
      note.text += "<br>" + values[at].text;
      note.align = "left";
      note.yanchor = "bottom";
      note.y += 0.2;
    });
    layout.annotations = notes.filter((note) => note.xanchor !== "right");
    layout.yaxis.range = [layout.yaxis.range[0], -0.82];
    layout.margin.t = 8 + legend;
    layout.height = 8 + legend + FOOT + ROW * names.length;
    return layout;
  }

  // Texts inside the cells of a shaded table stay in their cells.
  function smaller(data) {
    data.forEach(function (trace) {
      if (trace.textfont && trace.textposition === "inside") { trace.textfont.size = 9; }
    });
  }

  const charts = JSON.parse(document.getElementById("charts").textContent);
  Object.keys(charts).forEach(function (key) {
    const place = document.getElementById(key), chart = charts[key];
    const isNarrow = place.clientWidth < NARROW;
    const layout = isNarrow ? narrowed(chart.layout, chart.data.length) : chart.layout;
    if (isNarrow) { smaller(chart.data); }
    place.style.height = layout.height + "px";
    window.Plotly.newPlot(place, chart.data, layout, { displayModeBar: false, responsive: true });
  });

  // On paper every table is open; afterwards each is as it was.
  let folded = [];
  window.addEventListener("beforeprint", function () {
    folded = Array.from(document.querySelectorAll("details:not([open])"));
    folded.forEach(function (each) { each.open = true; });
  });
  window.addEventListener("afterprint", function () {
    folded.forEach(function (each) { each.open = false; });
  });
})();
