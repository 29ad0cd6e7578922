// A program that sets work offsets: one, or one for each index angle.
import { el, field, select, typed, button, fillSelect } from './elements.js';
import { step, said, guarded, commandShown, saveButtons, stemOf } from './bench.js';
import { controlNames } from './room-plan.js';
import { resultName } from './room-measure.js';

export function offsetStep(bench) {
  const { shop } = bench;
  const place = el('div', { 'aria-live': 'polite' });
  const control = select([], '', () => refresh());
  const number = typed('1', () => refresh(), { inputmode: 'numeric', size: '4' });
  const taught = typed('', () => refresh());
  const taughtAt = typed('A=0', () => refresh());
  const at = typed('A=0..270/90', () => refresh());
  const shown = commandShown(['write']);
  const many = el('input', { type: 'checkbox', onchange: () => refresh() });
  const simulated = () => (JSON.parse(shop.text(resultName(shop))).simulated ? ['--simulated'] : []);
  const argsNow = () => {
    const name = resultName(shop);
    const end = ['--control', control.value, ...simulated(), '-o', `${stemOf(name)}.offsets.nc`];
    if (!many.checked) return ['write', name, '--work-offset', number.value, ...end];
    return ['reseat', name, '--offset', ...taught.value.trim().split(/[\s,]+/), '--taught-at', taughtAt.value, '--at', ...at.value.trim().split(/\s+/), '--form', 'program', '--first-offset', number.value, ...end];
  };
  const go = guarded(place, async () => {
    const args = argsNow();
    const file = args.at(-1);
    const told = await bench.run(args, { label: 'offset program' });
    let listed = null;
    if (many.checked && told.code <= 1) {
      const cut = args.slice(0, args.indexOf('--form'));
      listed = await bench.run(cut, { keep: false });
    }
    place.replaceChildren(...said(told).filter(Boolean),
      ...(listed ? [el('pre', { class: 'said', tabindex: '0' }, listed.out)] : []),
      ...(told.code <= 1 && shop.files.has(file) ? [saveButtons(bench, [file]), el('pre', { class: 'said', tabindex: '0' }, shop.text(file))] : []));
  });
  function refresh() {
    fillSelect(control, controlNames(bench), control.value || shop.choice('control', 'demo-control'));
    manyFields.hidden = !many.checked;
    if (resultName(shop)) shown.set(argsNow());
  }
  const manyFields = el('div', { class: 'row' }, field('The offset as taught: X Y Z', taught, 'Machine coordinates, counted as the touch record counts.'), field('Taught at', taughtAt), field('Wanted at', at, 'A=90, a list A=0,90 or a range with a step A=0..270/90.'));
  const element = el('details', { class: 'choice' }, el('summary', {}, 'A program that sets work offsets'),
    step('Offset program', 'It stops before it does anything and shows what it will replace. CAUTION: A wrong work offset can wreck tool, part and machine. The machine manual, local safety rules and qualified people come first. Check the first run without a part, high up, slowly.',
      el('div', { class: 'row' }, field('Control sheet', control), field('Work offset (1 is G54)', number)),
      el('div', { class: 'field check' }, el('label', {}, many, ' one for each index angle: pallet or tombstone')), manyFields,
      el('p', { class: 'buttons' }, button('Write the program', go)), shown, place));
  return { element, refresh };
}
