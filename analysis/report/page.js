"use strict";
(function () {
  // Below this width a row's value stands under its name and not beside it. [pixels]
  const NARROW = 520, ROW = 60, FOOT = 52, LEGEND_ROW = 22, LINE = 15, LETTER = 6.6;

  // A text in lines of that many letters; one with marks of its own keeps them and its lines.
  function wrapped(text, most) {
    if (text.length <= most || text.includes("<")) { return text; }
    const lines = [""];
    text.split(" ").forEach(function (word) {
      const last = lines[lines.length - 1];
      if (last && last.length + 1 + word.length > most) { lines.push(word); }
      else { lines[lines.length - 1] = last ? last + " " + word : word; }
    });
    return lines.join("<br>");
  }

  // Titles over panels that stand side by side keep to their panel, and so do names of ticks.
  function panels(layout) {
    (layout.annotations || []).forEach(function (note) {
      if (note.xanchor !== "center" || note.xref !== "paper" || note.x === 0.5) { return; }
      note.font = Object.assign({}, note.font, { size: 10 });
      note.text = note.text.replace(/(<br>[^(]+) \(/, "$1<br>(");
    });
    if (!layout.xaxis2) { return; }
    Object.keys(layout).filter((name) => name.startsWith("xaxis")).forEach(function (name) {
      if (layout[name].tickangle === 0) { layout[name].tickangle = -45; }
    });
  }

  function narrowed(layout, entries, width) {
    panels(layout);
    const notes = layout.annotations || [];
    const values = notes.filter((note) => note.xanchor === "right");
    if (values.length === 0) { return layout; }
    const names = notes.filter((note) => note.xanchor === "left" && note.yref === "y");
    if (names.length === 0) { return layout; }
    const legend = layout.showlegend ? Math.ceil(entries / 2) * LEGEND_ROW : 0;
    const letters = Math.floor(width / LETTER);
    let lines = 2;
    names.forEach(function (note, at) {
      note.text = wrapped(note.text, letters) + "<br>" + wrapped(values[at].text, letters);
      lines = Math.max(lines, note.text.split("<br>").length);
      note.align = "left";
      note.yanchor = "bottom";
      note.y += 0.2;
    });
    layout.annotations = notes.filter((note) => note.xanchor !== "right");
    layout.yaxis.range = [layout.yaxis.range[0], -0.82];
    layout.margin.t = 8 + legend;
    layout.height = 8 + legend + FOOT + (ROW + LINE * (lines - 2)) * names.length;
    return layout;
  }

  // Texts inside the cells of a shaded table stay in their cells.
  function smaller(data) {
    data.forEach(function (trace) {
      if (trace.textfont && trace.textposition === "inside") { trace.textfont.size = 9; }
    });
  }

  const charts = JSON.parse(document.getElementById("charts").textContent);
  const waiting = new Set();
  let library = null;

  // Every chart has its height at once, so that nothing moves when it is drawn later.
  Object.keys(charts).forEach(function (key) {
    const place = document.getElementById(key), chart = charts[key];
    if (place.clientWidth < NARROW) {
      chart.layout = narrowed(chart.layout, chart.data.length, place.clientWidth);
      smaller(chart.data);
    }
    place.style.height = chart.layout.height + "px";
    waiting.add(place);
  });

  function draw(place) {
    if (library === null || !waiting.delete(place)) { return; }
    const chart = charts[place.id];
    library.newPlot(place, chart.data, chart.layout, { displayModeBar: false, responsive: true });
  }

  // A chart is drawn when it comes near the screen: all at once would hold the page for seconds.
  const near = new IntersectionObserver(function (entries) {
    entries.filter((each) => each.isIntersecting).forEach((each) => draw(each.target));
  }, { rootMargin: "100% 0px" });

  // The chart library is most of the page, so it is packed; every browser since 2023 unpacks it.
  async function unpacked() {
    const packed = atob(document.getElementById("library").textContent);
    const bytes = Uint8Array.from(packed, (letter) => letter.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    const script = document.createElement("script");
    script.textContent = await new Response(stream).text();
    document.head.append(script);
    if (!window.Plotly) { throw new Error("The chart library did not run."); }
    return window.Plotly;
  }

  function withoutCharts(reason) {
    waiting.forEach(function (place) {
      place.style.height = "auto";
      place.textContent = "This browser cannot draw the chart; its numbers stand in the table.";
    });
    throw reason;
  }

  // A printer that waits for the page to have loaded waits for the library too: as long as a frame
  // is being written, the page that holds it is still loading.
  const hold = document.body.appendChild(document.createElement("iframe"));
  hold.hidden = true;
  hold.contentDocument.open();

  unpacked().then(function (plotly) {
    library = plotly;
    waiting.forEach((place) => near.observe(place));
  }).catch(withoutCharts).finally(function () {
    hold.contentDocument.close();
    hold.remove();
  });

  // A box that holds more than its width is told as such, and one that does not needs no Tab stop.
  const boxes = new ResizeObserver(function (entries) {
    entries.forEach(function (entry) {
      const box = entry.target.closest(".scroll");
      const isWide = box.scrollWidth > box.clientWidth;
      box.classList.toggle("wide", isWide);
      if (isWide) { box.tabIndex = 0; } else { box.removeAttribute("tabindex"); }
    });
  });
  document.querySelectorAll(".scroll").forEach(function (box) {
    boxes.observe(box);
    boxes.observe(box.firstElementChild);
  });

  // On paper every chart is drawn and every table is open; afterwards each table is as it was.
  let folded = [];
  window.addEventListener("beforeprint", function () {
    waiting.forEach(draw);
    folded = Array.from(document.querySelectorAll("details:not([open])"));
    folded.forEach(function (each) { each.open = true; });
  });
  window.addEventListener("afterprint", function () {
    folded.forEach(function (each) { each.open = false; });
  });
})();
