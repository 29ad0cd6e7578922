// A touch record of ball centres as a table: text in, text out, comments kept.

/** {comments, head, rows} of a record whose separator is a comma or a semicolon. */
export function recordOf(text) {
  const lines = text.split(/\r?\n/).filter((line) => line.trim());
  const comments = lines.filter((line) => line.startsWith('#'));
  const [head = '', ...rows] = lines.filter((line) => !line.startsWith('#'));
  const separator = head.includes(';') ? ';' : ',';
  const cells = (line) => line.split(separator).map((cell) => cell.trim());
  return { comments, separator, head: cells(head), rows: rows.map(cells) };
}

export function textOf({ comments, separator, head, rows }) {
  const typedRows = rows.filter((row) => row.some((cell, k) => cell && k >= 0));
  return [...comments, head.join(separator), ...typedRows.map((row) => row.join(separator)), ''].join('\n');
}

/** Every column holds something; a touch among readings shows none. */
export function isComplete({ head }, row) {
  const isTouch = row[head.indexOf('kind')] === 'touch';
  return row.length === head.length && row.every((cell, k) => cell || (isTouch && head[k] === 'reading'));
}

/** Only complete rows can be fitted. */
export function completeRows(record) {
  return record.rows.filter((row) => isComplete(record, row));
}

export const isCentreRecord = (text) => /^#\s*kind:\s*centre/m.test(text);

/** A word of the record's comments: commentOf(record, 'units') of "# units: mm". */
export function commentOf(record, key) {
  for (const line of record.comments) {
    const found = line.match(/^#\s*([a-z ]+):\s*(.*)$/i);
    if (found?.[1].trim() === key) return found[2].trim();
  }
  return '';
}

export function withComment(record, key, value) {
  const line = `# ${key}: ${value}`;
  const at = record.comments.findIndex((each) => each.match(/^#\s*([a-z ]+):/i)?.[1].trim() === key);
  const comments = [...record.comments];
  if (at >= 0) comments[at] = line;
  else comments.push(line);
  return { ...record, comments };
}

/** Angles to begin with: eight round the whole turn, or over the travel there is; the last axis turns. */
function firstAngles(machine) {
  const letters = machine.rotary.map((axis) => axis.letter);
  const [low, high] = machine.rotary.at(-1)?.limits ?? [0, 360];
  const whole = high - low >= 360;
  const angle = (k) => (whole ? 45 * k : Math.round(low + ((high - low) * k) / 7));
  return { letters, stations: Array.from({ length: 8 }, (unused, k) => letters.map((letter, axis) => (axis === letters.length - 1 ? String(angle(k)) : '0'))) };
}

export function emptyRecord(machine, units) {
  const { letters, stations } = firstAngles(machine);
  return { comments: [`# units: ${units}`, '# kind: centre'], separator: ',', head: [...letters, 'X', 'Y', 'Z'], rows: stations.map((angles) => [...angles, '', '', '']) };
}

/** Which way a touch goes, as I J K: from both sides, from front and back, and from above. */
export const approaches = { 'towards +X': ['1', '0', '0'], 'towards −X': ['-1', '0', '0'], 'towards +Y': ['0', '1', '0'], 'towards −Y': ['0', '-1', '0'], 'towards −Z': ['0', '0', '-1'], 'towards +Z': ['0', '0', '1'] };

/** Single touches of an edge finder or a tool: five at every angle. */
export function emptyTouches(machine, units) {
  const { letters, stations } = firstAngles(machine);
  const ways = Object.values(approaches).slice(0, 5);
  return { comments: [`# units: ${units}`, '# kind: touch', '# typed: by hand'], separator: ',', head: [...letters, 'X', 'Y', 'Z', 'I', 'J', 'K'], rows: stations.flatMap((angles) => ways.map((way) => [...angles, '', '', '', ...way])) };
}

/**
 * Readings of an indicator on a bar, from both sides at two places along it, and the height of the bar with a
 * flat-ended tool, at four angles.
 */
export function emptyReadings(machine, units) {
  const { letters, stations } = firstAngles(machine);
  const ways = [['indicator', ...approaches['towards −Y']], ['indicator', ...approaches['towards +Y']], ['touch', ...approaches['towards −Z']]];
  const bar = machine.artefact.find((each) => each.kind !== 'ball') ?? machine.artefact[0];
  const of = machine.artefact.length > 1 ? [bar.name] : [];
  const rows = stations.filter((unused, k) => k % 2 === 0).flatMap((angles) => [0, 1].flatMap(() => ways.map((way) => [...of, ...angles, '', '', '', ...way, ''])));
  return { comments: [`# units: ${units}`, '# length_datum: tip', '# typed: by hand'], separator: ',', head: [...of.map(() => 'artefact'), ...letters, 'X', 'Y', 'Z', 'kind', 'I', 'J', 'K', 'reading'], rows };
}

/** A row to be filled in, at the angles of the last one. */
export function addedRow({ head, rows }) {
  const [I, J, K] = Object.values(approaches)[0];
  return head.map((column, k) => (/^([ABC]|artefact|kind)$/.test(column) ? rows.at(-1)?.[k] ?? '0' : { I, J, K }[column] ?? ''));
}

/** Lists begun here say so in a comment: these, and ball centres, can be typed in. */
export const isTyped = (text) => isCentreRecord(text) || /^#\s*typed:/m.test(text);
