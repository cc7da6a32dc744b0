// Draws the course of readings: gaps stay gaps, freezes and flags are shaded. Data comes from the address in data-trace.
"use strict";
(() => {
  const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const dashes = [[], [7, 4], [2, 3], [10, 3, 2, 3], [1, 5]];
  const minus = (text) => String(text).replace(/^-/, "\u2212");

  function shade(chart, spans, fill) {
    const { ctx, bbox } = chart;
    ctx.save();
    ctx.fillStyle = fill;
    for (const span of spans) {
      const left = Math.max(chart.valToPos(span.from, "x", true), bbox.left);
      const right = Math.min(chart.valToPos(span.to, "x", true), bbox.left + bbox.width);
      if (right > left) ctx.fillRect(left, bbox.top, Math.max(right - left, 2), bbox.height);
    }
    ctx.restore();
  }

  function lines(chart, values, stroke) {
    const { ctx, bbox } = chart;
    ctx.save();
    ctx.strokeStyle = stroke;
    ctx.setLineDash([2, 4]);
    ctx.beginPath();
    for (const value of values) {
      const y = chart.valToPos(value, "y", true);
      if (y < bbox.top || y > bbox.top + bbox.height) continue;
      ctx.moveTo(bbox.left, y);
      ctx.lineTo(bbox.left + bbox.width, y);
    }
    ctx.stroke();
    ctx.restore();
  }

  const clock = (zone, parts) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", ...parts });

  // Figures below the axis, by the trial's clock: hours, days or months, whichever the steps are.
  function dates(zone) {
    const hour = clock(zone, { hour: "2-digit", minute: "2-digit" });
    const day = clock(zone, { day: "numeric", month: "short" });
    const month = clock(zone, { month: "short" }), year = clock(zone, { year: "numeric" });
    return (_, ticks, __, ___, step) => {
      let before = "";
      return ticks.map((at) => {
        const date = new Date(at * 1000);
        const small = (step < 86400 ? hour : step < 2419200 ? day : month).format(date);
        const large = (step < 86400 ? day : year).format(date);
        const text = large === before ? small : `${small}\n${large}`;
        before = large;
        return text;
      });
    };
  }

  function draw(place, told) {
    place.textContent = "";
    const ink = token("--ink"), quiet = token("--quiet"), hairline = token("--hairline"), accent = token("--accent");
    const inks = [ink, accent, quiet, ink, accent];
    const series = told.courses.map((course, n) => ({
      label: course.sensor,
      stroke: inks[n % inks.length],
      dash: dashes[n % dashes.length],
      width: 1.5,
      points: { show: false },
      spanGaps: false,
      value: (_, v) => (v == null ? "" : `${minus(v.toFixed(1))} ${told.unit}`),
    }));
    const joined = uPlot.join(told.courses.map((course) => [course.at, course.air]), told.courses.map(() => [0, 2]));
    const long = clock(told.zone, { year: "numeric", month: "short", day: "numeric", hour: "2-digit", minute: "2-digit" });
    const axis = { stroke: quiet, font: "14px 'Source Sans 3', sans-serif", grid: { stroke: hairline, width: 1 }, ticks: { stroke: hairline, width: 1 } };
    const size = () => ({ width: place.clientWidth, height: Math.max(300, Math.min(460, Math.round(place.clientWidth * 0.5))) });
    const chart = new uPlot({
      ...size(),
      tzDate: (at) => uPlot.tzDate(new Date(at * 1000), told.zone),
      cursor: { drag: { x: true, y: false } },
      series: [{ label: "time", value: (_, at) => (at == null ? "" : long.format(new Date(at * 1000))) }, ...series],
      axes: [{ ...axis, space: 70, values: dates(told.zone) }, { ...axis, size: 62, values: (_, ticks) => ticks.map((v) => `${minus(v)} ${told.unit}`) }],
      hooks: {
        drawClear: [(one) => {
          shade(one, told.flags, token("--odd"));
          shade(one, told.freezes, token("--shade"));
          lines(one, told.lines || [], quiet);
        }],
        setSelect: [(one) => {
          if (!place.dataset.finer || one.select.width < 4) return;
          const from = one.posToVal(one.select.left, "x"), to = one.posToVal(one.select.left + one.select.width, "x");
          load(place, `${place.dataset.trace}?from=${Math.floor(from)}&to=${Math.ceil(to)}`);
        }],
      },
    }, joined, place);
    place.chart = chart;
    if (place.dataset.finer) chart.over.addEventListener("dblclick", () => load(place, place.dataset.trace));
  }

  async function load(place, address) {
    const answer = await fetch(address, { headers: { Accept: "application/json" } });
    if (answer.status === 202) { window.setTimeout(() => load(place, address), 700); return; }
    if (!answer.ok) { place.textContent = "The readings could not be fetched."; return; }
    draw(place, await answer.json());
  }

  function begin(root) {
    for (const place of root.querySelectorAll("[data-trace]")) {
      if (place.dataset.begun) continue;
      place.dataset.begun = "yes";
      load(place, place.dataset.trace);
    }
  }

  let waiting = 0;
  window.addEventListener("resize", () => {
    window.clearTimeout(waiting);
    waiting = window.setTimeout(() => {
      for (const place of document.querySelectorAll("[data-trace]")) {
        if (place.chart) place.chart.setSize({ width: place.clientWidth, height: place.chart.height });
      }
    }, 150);
  });
  document.addEventListener("htmx:load", (event) => begin(event.detail.elt));
  begin(document);
})();
