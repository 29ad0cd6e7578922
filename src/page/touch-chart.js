// What is left over at every touch, by station, as dots one can point at, step through and take out.
import { el, svg } from './elements.js';

const width = 680;
const height = 260;
const margin = { left: 74, right: 16, top: 34, bottom: 34 };
const firstKeys = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };

/** 1, 2 or 5 times a power of ten, not above `most`. */
export function roundStep(most) {
  const power = 10 ** Math.floor(Math.log10(most));
  return power * ([5, 2].find((each) => each * power <= most) ?? 1);
}


/** Touches that have a station, in the order of stations, each with its place: x counts stations from 0. */
function placed(touches) {
  const stations = [...new Set(touches.map((touch) => touch.station))];
  const of = (station) => touches.filter((touch) => touch.station === station);
  return {
    stations,
    dots: stations.flatMap((station, s) => of(station).map((touch, k, all) => ({ touch, x: s + (k + 1) / (all.length + 1) }))),
  };
}

/** A touch that the fit left out may be far off: it stands at the edge, with an arrow. */
function scaleOf(touches) {
  const used = touches.filter((touch) => !touch.excluded).map((touch) => Math.abs(touch.residual_mm));
  return Math.max(...used, 1e-6) * 1.1;
}

const nameOf = (touch) => `touch ${touch.label} at station ${touch.station}`;

/** The claim over the chart. */
export function claimOf(bench, touches) {
  const out = touches.filter((touch) => touch.excluded);
  if (out.length > 0) return `The fit left out ${out.length === 1 ? nameOf(out[0]) : `${out.length} touches`}`;
  const worst = touches.reduce((a, b) => (Math.abs(b.w ?? 0) > Math.abs(a.w ?? 0) ? b : a));
  return `No touch is left out; ${nameOf(worst)} agrees least`;
}

function axisMarks(bench, most, y) {
  const by = roundStep(most / 2);
  const ticks = [];
  for (let at = -Math.floor(most / by); at <= Math.floor(most / by); ++at) ticks.push(at * by);
  return ticks.map((value) => [
    svg('path', { class: value === 0 ? 'zero' : 'grid', d: `M${margin.left} ${y(value)}H${width - margin.right}` }),
    svg('text', { x: margin.left - 8, y: y(value) + 5, class: 'small', 'text-anchor': 'end' }, bench.small(value)),
  ]).flat();
}

/** Not every number has room under a chart with many stations. */
function stationMarks(stations, x) {
  const every = Math.ceil(stations.length / 20);
  return stations.map((station, s) => [
    s > 0 ? svg('path', { class: 'grid', d: `M${x(s)} ${margin.top}V${height - margin.bottom}` }) : null,
    s % every === 0 ? svg('text', { x: x(s + 0.5), y: height - margin.bottom + 18, class: 'small', 'text-anchor': 'middle' }, station) : null,
  ]).flat();
}

function dotOf(touch, at) {
  const [x, y] = at;
  return svg('g', { class: 'dot', role: 'checkbox', tabindex: '-1', transform: `translate(${x} ${y})` },
    svg('circle', { class: 'reach', r: 13 }), svg('circle', { class: 'mark', r: 5 }), svg('path', { class: 'cross', d: 'M-6 -6L6 6M6 -6L-6 6' }));
}

/**
 * @param actions {point(touch): somebody looks at it, toggle(touch): takes it out or in again}
 * @returns an element with `mark(isOut)`, which shows which touches are out
 */
export function touchChart(bench, touches, actions) {
  const { stations, dots } = placed(touches);
  const most = scaleOf(touches);
  const x = (s) => margin.left + (s / stations.length) * (width - margin.left - margin.right);
  const y = (value) => margin.top + ((most - Math.min(most, Math.max(-most, value))) / (2 * most)) * (height - margin.top - margin.bottom);
  const marks = dots.map(({ touch, x: s }) => ({ touch, element: dotOf(touch, [x(s), y(touch.residual_mm)]) }));
  const picture = svg('svg', { viewBox: `0 0 ${width} ${height}`, role: 'group', 'aria-label': 'What is left over at every touch, by station. Arrow keys go from touch to touch, Enter takes one out.' },
    svg('text', { x: 0, y: 18, class: 'claim' }, claimOf(bench, touches)),
    axisMarks(bench, most, y), stationMarks(stations, x), marks.map((each) => each.element));
  let current = 0;
  const turnTo = (k, focus) => {
    marks[current].element.setAttribute('tabindex', '-1');
    current = (k + marks.length) % marks.length;
    marks[current].element.setAttribute('tabindex', '0');
    if (focus) marks[current].element.focus();
  };
  marks.forEach(({ touch, element }, k) => {
    const look = () => {
      turnTo(k, false);
      actions.point(touch);
    };
    element.addEventListener('pointerenter', look);
    element.addEventListener('focus', look);
    element.addEventListener('click', () => actions.toggle(touch));
    element.addEventListener('keydown', (event) => {
      const by = firstKeys[event.key];
      if (by) turnTo(k + by, true);
      else if (event.key === 'Enter' || event.key === ' ') actions.toggle(touch);
      else return;
      event.preventDefault();
    });
  });
  turnTo(0, false);
  const figure = el('figure', { class: 'chart touches' }, picture, el('figcaption', { class: 'why' }, 'What is left over at every touch, by station. Point at a dot, or press it to leave it out on trial.'));
  figure.mark = (isOut) => {
    for (const { touch, element } of marks) {
      const out = isOut(touch);
      element.classList.toggle('out', out);
      element.setAttribute('aria-checked', String(!out));
      element.setAttribute('aria-label', `${nameOf(touch)}, left over ${bench.small(touch.residual_mm)}${out ? ', left out' : ''}`);
    }
  };
  return figure;
}

export { nameOf };
