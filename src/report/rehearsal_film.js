// Plays the film whose data stand in the page: bodies at all axes 0, axes, where everything came to rest.
(() => {
  const film = JSON.parse(document.getElementById('film').textContent);
  const find = id => document.getElementById(id);
  const add = (a, b, k = 1) => [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const cross = (a, b) =>
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  // Rodrigues' rotation about a unit vector.
  const turned = (v, u, t) =>
    add(add([v[0] * Math.cos(t), v[1] * Math.cos(t), v[2] * Math.cos(t)], cross(u, v), Math.sin(t)),
      u, dot(u, v) * (1 - Math.cos(t)));
  const about = (p, axis, t) => add(turned(add(p, axis.point, -1), axis.direction, axis.sign * t), axis.point);

  const carried = (p, chain, angles) => {
    for (let i = chain.length - 1; i >= 0; --i) p = about(p, film.axes[chain[i]], angles[chain[i]]);
    return p;
  };
  const tool = (shown, angles) => {
    let tip = film.arm;
    let axis = [0, 0, 1];
    for (let i = film.tool_chain.length - 1; i >= 0; --i) {
      const one = film.axes[film.tool_chain[i]];
      tip = about(tip, one, angles[film.tool_chain[i]]);
      axis = turned(axis, one.direction, one.sign * angles[film.tool_chain[i]]);
    }
    return {tip: add(shown, tip), axis};
  };
  const ring = (centre, axis, radius) => {
    const side = Math.abs(axis[0]) < 0.9 ? cross(axis, [1, 0, 0]) : cross(axis, [0, 1, 0]);
    const length = Math.sqrt(dot(side, side));
    const a = side.map(x => x / length);
    const b = cross(axis, a);
    return Array.from({length: 36}, (_, k) =>
      add(add(centre, a, radius * Math.cos(k * Math.PI / 18)), b, radius * Math.sin(k * Math.PI / 18)));
  };
  const hull = points => {
    points.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
    const side = (o, a, b) => (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
    const found = [];
    for (let pass = 0; pass < 2; ++pass) {
      const base = found.length;
      for (const p of points) {
        while (found.length >= base + 2 && side(found[found.length - 2], found[found.length - 1], p) <= 0) found.pop();
        found.push(p);
      }
      found.pop();
      points.reverse();
    }
    return found;
  };

  // --- one moment -------------------------------------------------------------------------------
  const stops = film.stops;
  const end = stops[stops.length - 1].t;
  const stopAt = t => {
    let low = 0;
    let high = stops.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (stops[middle].t < t) low = middle + 1; else high = middle;
    }
    return low;
  };
  const mix = (a, b, s) => a.map((x, i) => x + s * (b[i] - x));
  const momentAt = t => {
    const next = stopAt(t);
    const b = stops[next];
    const a = stops[Math.max(0, next - 1)];
    const s = b.t > a.t ? Math.min(1, Math.max(0, (t - a.t) / (b.t - a.t))) : 1;
    return {line: b.line, shown: mix(a.shown, b.shown, s), real: mix(a.real, b.real, s),
      angles: mix(a.angles, b.angles, s), commanded: mix(a.commanded, b.commanded, s)};
  };

  const shapesAt = moment => {
    const shapes = film.bodies.map(body => ({look: body.look, radius: body.radius,
      points: body.points.map(p => carried(p, body.chain, moment.angles))}));
    const {tip, axis} = tool(moment.real, moment.angles);
    for (const part of film.tool) {
      const from = add(tip, axis, part.from);
      const points = part.length > 0
        ? [...ring(from, axis, part.radius), ...ring(add(from, axis, part.length), axis, part.radius)]
        : [tip];
      shapes.push({look: 'probe', radius: part.length > 0 ? 0 : part.radius, points});
    }
    return shapes;
  };

  const drawView = (view, shapes) => {
    const flat = p => {
      const d = add(p, view.middle, -1);
      return [0.5 * view.width + view.scale * dot(view.right, d), 0.5 * view.height - view.scale * dot(view.up, d)];
    };
    const towards = cross(view.right, view.up);
    const depth = shape => shape.points.reduce((sum, p) => sum + dot(towards, p), 0) / shape.points.length;
    return shapes.map(shape => [depth(shape), shape]).sort((a, b) => a[0] - b[0]).map(([, shape]) => {
      const points = shape.points.map(flat);
      if (shape.radius > 0) {
        return `<circle class="${shape.look}" cx="${points[0][0]}" cy="${points[0][1]}" r="${view.scale * shape.radius}"/>`;
      }
      return `<polygon class="${shape.look}" points="${hull(points).map(p => p.join()).join(' ')}"/>`;
    }).join('');
  };

  const signed = (x, digits) => x.toFixed(digits).replace('-', '\u2212');
  const show = t => {
    const moment = momentAt(t);
    const shapes = shapesAt(moment);
    find('scene').innerHTML = film.views.map(view =>
      `<svg x="${view.left}" y="${view.top}" width="${view.width}" height="${view.height}" overflow="hidden">${drawView(view, shapes)}</svg>`).join('');
    find('line').textContent = `line ${moment.line}: ${film.lines[moment.line] || ''}`;
    let where = `${(t / 60).toFixed(2)} min`;
    'XYZ'.split('').forEach((letter, i) => {
      where += `  ${letter} ${signed(moment.shown[i] / film.unit, film.digits)}`;
    });
    film.letters.forEach((letter, i) => {
      where += `  ${letter} ${signed(moment.commanded[i] * 180 / Math.PI, 2)}\u00b0`;
    });
    let sample = 0;
    while (sample < film.clear.length - 1 && film.clear[sample][0] < t) ++sample;
    const clear = film.clear[sample][1];
    where += `  clearance ${clear >= film.clear_most ? 'over ' : ''}${(clear / film.unit).toFixed(film.digits - 1)} ${film.unit_word}`;
    find('where').textContent = where;
    const x = film.curve.left + (film.curve.right - film.curve.left) * t / Math.max(end, 1e-9);
    find('now').setAttribute('d', `M${x} ${film.curve.top}V${film.curve.bottom}`);
    find('time').value = t;
  };

  // --- playing ----------------------------------------------------------------------------------
  const times_faster = 12;
  let playing = 0;
  let last = 0;
  const pause = () => { cancelAnimationFrame(playing); playing = 0; find('play').textContent = 'Play'; };
  const tick = now => {
    const t = Math.min(end, Number(find('time').value) + times_faster * (now - last) / 1000);
    last = now;
    show(t);
    if (t >= end) pause(); else playing = requestAnimationFrame(tick);
  };
  find('time').max = end;
  find('time').oninput = () => { pause(); show(Number(find('time').value)); };
  find('play').onclick = () => {
    if (playing) return pause();
    if (Number(find('time').value) >= end) find('time').value = 0;
    find('play').textContent = 'Stop';
    last = performance.now();
    playing = requestAnimationFrame(tick);
  };
  find('on').onclick = () => { pause(); show(stops[Math.min(stops.length - 1, stopAt(Number(find('time').value)) + 1)].t); };
  find('back').onclick = () => { pause(); show(stops[Math.max(0, stopAt(Number(find('time').value)) - 1)].t); };
  find('bar').hidden = false;
  show(film.still);
})();
