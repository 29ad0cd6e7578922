// Demos: the examples of the program, all invented, with what the rooms should show of them.

const truthPushed = `# Invented: a head that was pushed by some hundredths of a mm.
format = 1
units = "mm"
name = "a head that was hit (invented)"

[[axis]]
letter = "B"
centre_off = [0.050, 0.0, 0.090]
lean_deg = { X = 0.004, Z = -0.021 }
`;

const trunnionPost = `; post-processor of an invented mill
cradle_y = -220.000
cradle_z = -310.000
table_x  = -250.000
table_y  = -220.000
`;

const entry = (value, key) => `\n[[entry]]\nvalue = "${value}"\nkey = "${key}"\ndecimals = 3\n`;
const trunnionMapping = `format = 1\n${entry('A.centre.Y', 'cradle_y')}${entry('A.centre.Z', 'cradle_z')}${entry('C.centre.X', 'table_x')}${entry('C.centre.Y', 'table_y')}`;

/** @param examples {name: text} of the shipped examples */
export function demosFrom(examples) {
  const of = (...names) => Object.fromEntries(names.map((name) => [name, examples[name]]));
  const year = Object.keys(examples).filter((name) => /^\d{4}-\d{2}\.touches\.csv$/.test(name));
  return {
    trunnion: {
      title: 'cradle with round table (two axes)',
      files: {
        ...of('trunnion.machine.toml', 'trunnion.truth.toml', 'trunnion.touches.csv'),
        'trunnion.post.txt': trunnionPost,
        'trunnion.mapping.toml': trunnionMapping,
      },
      choices: { machine: 'trunnion.machine.toml', truth: 'trunnion.truth.toml', touches: 'trunnion.touches.csv', post: 'trunnion.post.txt', mapping: 'trunnion.mapping.toml' },
    },
    fourthAxis: {
      title: 'bench mill with a 4th axis',
      files: of('fourth-axis.machine.toml', 'fourth-axis.truth.toml', 'fourth-axis.touches.csv', 'ball-centres.touches.csv', 'fourth-axis.limits.toml', 'fourth-axis.feet.toml', 'fourth-axis.post.txt', 'fourth-axis.mapping.toml'),
      choices: { machine: 'fourth-axis.machine.toml', truth: 'fourth-axis.truth.toml', touches: 'fourth-axis.touches.csv', post: 'fourth-axis.post.txt', mapping: 'fourth-axis.mapping.toml' },
    },
    swivelHead: {
      title: 'mill with a swivel head, and a push',
      files: { ...of('swivel-head.machine.toml', 'swivel-head.truth.toml', 'swivel-head.touches.csv'), 'pushed.truth.toml': truthPushed },
      choices: { machine: 'swivel-head.machine.toml', truth: 'pushed.truth.toml', touches: 'swivel-head.touches.csv' },
    },
    year: {
      title: 'a year of checks of the 4th axis',
      files: of('fourth-axis.machine.toml', ...year),
      choices: { machine: 'fourth-axis.machine.toml', touches: year.at(-1), within: '0.010' },
    },
    pin: {
      title: 'a pin in a chuck',
      files: of('pin-in-chuck.machine.toml', 'pin-in-chuck.truth.toml', 'pin-in-chuck.touches.csv'),
      choices: { machine: 'pin-in-chuck.machine.toml', truth: 'pin-in-chuck.truth.toml', touches: 'pin-in-chuck.touches.csv' },
    },
  };
}
