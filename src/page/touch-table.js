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

/** Rows in which every column holds something: only these can be fitted. */
export function completeRows(record) {
  return record.rows.filter((row) => row.length === record.head.length && row.every(Boolean));
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

export function emptyRecord(machine, units) {
  const letters = machine.rotary.map((axis) => axis.letter);
  const [low, high] = machine.rotary.at(-1)?.limits ?? [0, 360];
  const whole = high - low >= 360;
  const angle = (k) => (whole ? 45 * k : Math.round(low + ((high - low) * k) / 7));
  const rows = Array.from({ length: 8 }, (unused, k) => [...letters.map((letter, axis) => (axis === letters.length - 1 ? String(angle(k)) : '0')), '', '', '']);
  return { comments: [`# units: ${units}`, '# kind: centre'], separator: ',', head: [...letters, 'X', 'Y', 'Z'], rows };
}
