// The drawing with its controls: a slider for every rotary axis, views, nearer and further.
import { el, button, slider } from './elements.js';
import { Drawing, spokenDrawing } from './drawing.js';

const lengthKeys = new Set(['centre', 'at', 'from', 'to', 'low', 'high', 'diameter', 'length', 'stylus_diameter', 'stylus_length', 'shank_diameter']);
const mmPerInch = 25.4;

function scaled(value, factor) {
  if (typeof value === 'number') return value * factor;
  if (Array.isArray(value)) return value.map((each) => scaled(each, factor));
  return value;
}

function scaledEntry(entry, factor) {
  return Object.fromEntries(
    Object.entries(entry).map(([key, value]) => {
      if (lengthKeys.has(key)) return [key, scaled(value, factor)];
      if (value && typeof value === 'object' && !Array.isArray(value)) return [key, scaledEntry(value, factor)];
      return [key, value];
    }),
  );
}

/** The machine in mm, whatever its file is written in. */
export function inMillimetres(machine) {
  if (machine.units !== 'inch') return machine;
  const limits = Object.fromEntries(Object.entries(machine.linear.limits ?? {}).map(([key, range]) => [key, scaled(range, mmPerInch)]));
  return {
    ...machine,
    linear: { ...machine.linear, limits },
    rotary: machine.rotary.map((each) => scaledEntry(each, mmPerInch)),
    artefact: machine.artefact.map((each) => scaledEntry(each, mmPerInch)),
    obstacle: machine.obstacle.map((each) => scaledEntry(each, mmPerInch)),
    probe: scaledEntry(machine.probe, mmPerInch),
  };
}

export class DrawingPanel {
  constructor(bench) {
    this.bench = bench;
    this.angles = {};
    this.canvas = el('canvas', { role: 'img', 'aria-label': 'Scale drawing of the machine' });
    this.sliders = el('div', { class: 'sliders' });
    const views = ['front', 'side', 'top', 'corner'].map((view) => button(view, () => this.drawing?.lookFrom(view), { class: 'quiet' }));
    this.views = el('div', { class: 'buttons', role: 'group', 'aria-label': 'View' }, views,
      button('nearer', () => this.drawing?.nearer(0.8), { class: 'quiet' }), button('further', () => this.drawing?.nearer(1.25), { class: 'quiet' }));
    this.element = el(
      'aside',
      { class: 'drawing', 'aria-label': 'Drawing' },
      el('div', { class: 'canvas' }, this.canvas),
      this.views,
      this.sliders,
    );
    this.element.hidden = true;
  }

  clear() {
    this.element.hidden = true;
  }

  show(shown) {
    this.element.hidden = false;
    this.machine = inMillimetres(shown.machine);
    this.fillSliders();
    this.shown = { ...shown, machine: this.machine };
    this.paint();
  }

  paint() {
    this.canvas.setAttribute('aria-label', spokenDrawing(this.machine, this.angles));
    try {
      this.drawing ??= new Drawing(this.canvas);
      this.drawing.show({ ...this.shown, angles: this.angles });
      this.drawing.resize();
    } catch (fault) {
      this.views.hidden = true;
      this.canvas.parentElement.classList.add('none');
      this.canvas.replaceWith(el('p', { class: 'why' }, `This browser cannot draw in three dimensions (${fault.message}). Everything else works without.`));
      this.paint = () => {};
    }
  }

  fillSliders() {
    const axes = this.machine.rotary.filter((axis) => axis.letter);
    const key = JSON.stringify(axes.map((axis) => [axis.letter, axis.limits]));
    if (key === this.slidersFor) return;
    this.slidersFor = key;
    this.sliders.replaceChildren(...axes.map((axis) => this.angleSlider(axis)));
  }

  angleSlider(axis) {
    const [min, max] = axis.limits?.length === 2 ? axis.limits : [-360, 360];
    const value = Math.min(Math.max(this.angles[axis.letter] ?? 0, min), max);
    this.angles[axis.letter] = value;
    const turn = (degrees) => {
      this.angles[axis.letter] = degrees;
      this.paint();
    };
    return slider(`Turn ${axis.letter}`, { min, max, step: 1, value, shown: (degrees) => `${degrees}°`, oninput: turn });
  }
}
