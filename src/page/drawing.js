// The machine to scale in three dimensions: what stands, what each axis carries, where one would touch.
// Machine frame throughout: X to the right, Y away from the front, Z up, as the control shows them.
import * as three from 'three';
import { OrbitControls } from 'three/addons/controls/OrbitControls.js';

const lightLook = {
  paper: 0xfcfbf8, ink: 0x20242b, bed: 0xb9b4a8, carried: [0xc9c6be, 0xaaa79f], axis: 0x00697a,
  artefact: 0x383780, stylus: 0x6c727b, touch: 0xda7e1e,
};
const darkLook = {
  paper: 0x171a1f, ink: 0xe9e6df, bed: 0x4b4f57, carried: [0x6a6e76, 0x888c94], axis: 0x4fb3c4,
  artefact: 0x9a99e6, stylus: 0x9aa1ab, touch: 0xf0a04b,
};
const unitOf = { X: [1, 0, 0], Y: [0, 1, 0], Z: [0, 0, 1] };
const radians = (degrees) => (degrees * Math.PI) / 180;
const vector = (list) => new three.Vector3(...(list ?? [0, 0, 0]).map((each) => (Number.isFinite(each) ? each : 0)));

/** +1 when a positive command turns the carried body right-handed about + of its linear axis, else -1. */
export function turnOf(axis) {
  return axis.positive_turn === 'right-hand' ? 1 : -1;
}

function material(colour, opacity = 1) {
  return new three.MeshLambertMaterial({ color: colour, transparent: opacity < 1, opacity });
}

/** What the graphics card holds of a scene is not given back by itself. */
function giveBack(scene) {
  scene.traverse((each) => {
    each.geometry?.dispose();
    each.material?.map?.dispose();
    each.material?.dispose();
  });
  scene.clear();
}

function lineMaterial(colour) {
  return new three.LineBasicMaterial({ color: colour });
}

/** A letter that always faces the reader. */
function letter(text, colour, size) {
  const canvas = document.createElement('canvas');
  canvas.width = canvas.height = 128;
  const pen = canvas.getContext('2d');
  pen.font = '600 88px sans-serif';
  pen.textAlign = 'center';
  pen.textBaseline = 'middle';
  pen.fillStyle = `#${colour.toString(16).padStart(6, '0')}`;
  pen.fillText(text, 64, 68);
  const sprite = new three.Sprite(
    new three.SpriteMaterial({ map: new three.CanvasTexture(canvas), depthTest: false }),
  );
  sprite.scale.setScalar(size);
  return sprite;
}

/** A round bar from one point to another. */
function bar(from, to, diameter, colour, opacity) {
  const along = to.clone().sub(from);
  const length = along.length();
  const shape = new three.CylinderGeometry(diameter / 2, diameter / 2, length || 1, 32);
  const mesh = new three.Mesh(shape, material(colour, opacity));
  mesh.position.copy(from).addScaledVector(along, 0.5);
  if (length > 0) mesh.quaternion.setFromUnitVectors(new three.Vector3(0, 1, 0), along.normalize());
  return mesh;
}

function edges(mesh, colour) {
  const lines = new three.LineSegments(new three.EdgesGeometry(mesh.geometry, 30), lineMaterial(colour));
  lines.position.copy(mesh.position);
  lines.quaternion.copy(mesh.quaternion);
  return lines;
}

/** Long-short line of an axis, its letter at the end. */
function axisLine(axis, reach, look) {
  const group = new three.Group();
  const along = vector(unitOf[axis.along] ?? unitOf.X);
  const centre = vector(axis.centre);
  const dash = reach / 9;
  for (let at = -reach; at < reach; at += dash * 1.5) {
    const long = Math.round((at + reach) / (dash * 1.5)) % 2 === 0;
    const from = centre.clone().addScaledVector(along, at);
    const to = centre.clone().addScaledVector(along, at + (long ? dash : dash / 4));
    group.add(bar(from, to, reach / 90, look.axis));
  }
  const sign = letter(axis.letter ?? '?', look.axis, reach / 4);
  sign.position.copy(centre).addScaledVector(along, reach * 1.12);
  group.add(sign, turnArrow(axis, centre, along, reach, look));
  return group;
}

/** Three quarters of a turn round the axis with a head: which way a positive command turns. */
function turnArrow(axis, centre, along, reach, look) {
  const radius = reach / 4;
  const arrow = new three.Group();
  arrow.add(new three.Mesh(new three.TorusGeometry(radius, reach / 110, 8, 48, 1.5 * Math.PI), material(look.axis)));
  const head = new three.Mesh(new three.ConeGeometry(reach / 28, reach / 10, 20), material(look.axis));
  head.position.set(0, -radius, 0);
  head.rotation.z = -Math.PI / 2;
  arrow.add(head);
  const towards = along.clone().multiplyScalar(turnOf(axis));
  arrow.quaternion.setFromUnitVectors(new three.Vector3(0, 0, 1), towards);
  arrow.position.copy(centre).addScaledVector(along, reach * 0.85);
  return arrow;
}

function boxFrame(low, high, colour) {
  const size = high.clone().sub(low);
  const shape = new three.BoxGeometry(Math.max(size.x, 1), Math.max(size.y, 1), Math.max(size.z, 1));
  const frame = new three.LineSegments(new three.EdgesGeometry(shape), lineMaterial(colour));
  frame.position.copy(low).add(high).multiplyScalar(0.5);
  return frame;
}

/** Where a ball touched `around` from +X towards +Y and `up` towards the spindle leaves its dot. */
function touchPlace(centre, radius, touch) {
  const around = radians(touch.around ?? 0);
  const up = radians(touch.up ?? 0);
  return new three.Vector3(Math.cos(up) * Math.cos(around), Math.cos(up) * Math.sin(around), Math.sin(up))
    .multiplyScalar(radius)
    .add(centre);
}

export class Drawing {
  /** @param canvas where to draw; throws where the browser cannot draw in three dimensions */
  constructor(canvas) {
    this.canvas = canvas;
    this.renderer = new three.WebGLRenderer({ canvas, antialias: true });
    this.camera = new three.PerspectiveCamera(32, 1, 1, 20000);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.addEventListener('change', () => this.draw());
    this.scene = new three.Scene();
    this.shown = {};
    this.view = 'front';
    new ResizeObserver(() => this.resize()).observe(canvas.parentElement);
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.build());
  }

  get look() {
    return matchMedia('(prefers-color-scheme: dark)').matches ? darkLook : lightLook;
  }

  /** @param shown {machine, angles: {A: 30}, stations: [{label, angles}], touches: [{around, up}], points: [[x,y,z]]} */
  show(shown) {
    const first = !this.shown.machine;
    const moved = JSON.stringify(this.shown.machine?.linear) !== JSON.stringify(shown.machine?.linear);
    this.shown = { ...this.shown, ...shown };
    this.build();
    if (first || moved) this.lookFrom(this.view);
  }

  build() {
    const { machine, angles = {}, stations = [], points = [] } = this.shown;
    if (!machine) return;
    const look = this.look;
    giveBack(this.scene);
    this.scene.background = new three.Color(look.paper);
    this.scene.add(new three.HemisphereLight(0xffffff, 0x888888, 2.2));
    const sun = new three.DirectionalLight(0xffffff, 1.4);
    sun.position.set(-1, -2, 3);
    this.scene.add(sun);
    this.addTravel(machine, look);
    const carriers = this.addAxes(machine, angles, look);
    this.addBodies(machine, carriers, look);
    this.addStations(machine, stations, look);
    for (const point of points) this.addDot(vector(point), this.reach / 60, look.touch);
    this.draw();
  }

  addTravel(machine, look) {
    const limits = machine.linear.limits ?? {};
    const range = (letterOfAxis) => limits[letterOfAxis] ?? [-500, 0];
    const low = vector(['X', 'Y', 'Z'].map((each) => range(each)[0]));
    const high = vector(['X', 'Y', 'Z'].map((each) => range(each)[1]));
    this.low = low;
    this.high = high;
    this.reach = Math.max(80, low.distanceTo(high) / 6);
    this.scene.add(boxFrame(low, high, look.bed), this.triad(low, look));
  }

  triad(at, look) {
    const group = new three.Group();
    for (const [name, direction] of Object.entries(unitOf)) {
      const end = at.clone().addScaledVector(vector(direction), this.reach * 0.5);
      const sign = letter(name, look.ink, this.reach / 5);
      sign.position.copy(end).addScaledVector(vector(direction), this.reach / 8);
      group.add(bar(at, end, this.reach / 60, look.ink), sign);
    }
    return group;
  }

  /** The nested groups of the work side, by letter; the outermost axis first, as in the machine file. */
  addAxes(machine, angles, look) {
    const carriers = { bed: this.scene };
    let outer = this.scene;
    for (const axis of machine.rotary.filter((each) => each.carries !== 'tool')) {
      outer.add(axisLine(axis, this.reach, look));
      const carried = this.turned(axis, angles[axis.letter] ?? 0);
      outer.add(carried);
      carriers[axis.letter] = carried;
      outer = carried;
    }
    this.addHead(machine, angles, look);
    return carriers;
  }

  /** A group whose children turn about the axis line; they keep their machine coordinates at 0. */
  turned(axis, degrees) {
    const outer = new three.Group();
    const inner = new three.Group();
    const centre = vector(axis.centre);
    outer.position.copy(centre);
    outer.quaternion.setFromAxisAngle(vector(unitOf[axis.along] ?? unitOf.X), turnOf(axis) * radians(degrees));
    inner.position.copy(centre).negate();
    outer.add(inner);
    const carried = new three.Group();
    inner.add(carried);
    outer.add = (...children) => (carried.add(...children), outer);
    return outer;
  }

  /** A head counts from the position shown: it is drawn where the first artefact would be touched. */
  addHead(machine, angles, look) {
    const heads = machine.rotary.filter((each) => each.carries === 'tool');
    if (heads.length === 0) return;
    const ball = machine.artefact[0];
    const above = vector(ball?.at ?? [-250, -200, -250]).add(new three.Vector3(0, 0, (ball?.diameter ?? 20) / 2));
    const group = new three.Group();
    group.position.copy(above);
    this.scene.add(group);
    let outer = group;
    for (const axis of heads) {
      outer.add(axisLine(axis, this.reach, look));
      const carried = this.turned(axis, angles[axis.letter] ?? 0);
      outer.add(carried);
      outer = carried;
    }
    outer.add(...this.probeBodies(machine, look));
  }

  /** The probe with its stylus ball at the origin, pointing down. */
  probeBodies(machine, look) {
    const probe = machine.probe;
    const radius = (probe.stylus_diameter ?? 6) / 2;
    const length = probe.stylus_length ?? 50;
    const holder = probe.holder ?? { diameter: 40, length: 60 };
    const up = (z) => new three.Vector3(0, 0, z);
    const ball = new three.Mesh(new three.SphereGeometry(radius, 24, 16), material(look.stylus));
    const shank = bar(up(0), up(length), probe.shank_diameter ?? radius, look.stylus);
    const body = bar(up(length), up(length + holder.length), holder.diameter, look.stylus);
    return [ball, shank, body, edges(body, look.ink)];
  }

  addBodies(machine, carriers, look) {
    machine.obstacle.forEach((each, k) => this.addObstacle(each, carriers, look, k));
    for (const artefact of machine.artefact) {
      const carrier = carriers[artefact.carried_by] ?? this.scene;
      carrier.add(...this.artefactBodies(artefact, look));
    }
    const first = machine.artefact[0];
    if (first && machine.rotary.every((axis) => axis.carries !== 'tool')) {
      this.scene.add(this.waitingProbe(machine, first, look));
    }
  }

  /** The probe waits above what is touched first. */
  waitingProbe(machine, first, look) {
    const probe = new three.Group();
    const above = (first.diameter ?? 20) / 2 + this.reach / 3;
    probe.position.copy(carriedTo(machine, first, this.shown.angles ?? {})).add(new three.Vector3(0, 0, above));
    probe.add(...this.probeBodies(machine, look));
    return probe;
  }

  addObstacle(each, carriers, look, k) {
    const carrier = carriers[each.carried_by] ?? this.scene;
    const colour = each.carried_by && each.carried_by !== 'bed' ? look.carried[k % 2] : look.bed;
    const from = vector(each.from ?? each.low ?? each.at);
    const to = vector(each.to ?? each.high ?? each.at);
    let body;
    if (each.shape === 'cylinder') body = bar(from, to, each.diameter ?? 10, colour);
    else {
      const size = to.clone().sub(from);
      body = new three.Mesh(
        new three.BoxGeometry(Math.abs(size.x) || 1, Math.abs(size.y) || 1, Math.abs(size.z) || 1),
        material(colour),
      );
      body.position.copy(from).add(to).multiplyScalar(0.5);
    }
    carrier.add(body, edges(body, look.ink));
  }

  artefactBodies(artefact, look) {
    const at = vector(artefact.at);
    const radius = (artefact.diameter ?? 20) / 2;
    const bodies = [];
    if (artefact.kind === 'flat') {
      const outward = vector(artefact.direction ?? unitOf.Z).normalize();
      const plate = bar(at, at.clone().addScaledVector(outward, -this.reach / 20), this.reach / 2, look.artefact);
      bodies.push(plate, edges(plate, look.ink));
    } else if (artefact.kind === 'pin' || artefact.kind === 'bore') {
      const along = vector(artefact.direction ?? unitOf[artefact.along] ?? unitOf.X).normalize();
      const half = (artefact.length ?? 40) / 2;
      const from = at.clone().addScaledVector(along, -half);
      bodies.push(bar(from, at.clone().addScaledVector(along, half), radius * 2, look.artefact));
    } else {
      const ball = new three.Mesh(new three.SphereGeometry(radius, 32, 24), material(look.artefact));
      ball.position.copy(at);
      bodies.push(ball);
    }
    if (artefact.stem) {
      const end = at.clone().addScaledVector(vector(artefact.stem.direction), artefact.stem.length ?? 40);
      bodies.push(bar(at, end, artefact.stem.diameter ?? 8, look.stylus));
    }
    return bodies;
  }

  /** The ball at every station of a plan, with the dots of its touches and the station's number. */
  addStations(machine, stations, look) {
    const ball = machine.artefact[0];
    if (ball?.kind !== 'ball') return;
    const radius = (ball.diameter ?? 20) / 2;
    const places = new Map();
    for (const station of stations) {
      const centre = carriedTo(machine, ball, station.angles);
      const key = centre.toArray().map((each) => each.toFixed(1)).join();
      if (!places.has(key)) places.set(key, { ...station, centre });
    }
    // No number on another: of places close together the first is numbered.
    const numbered = [];
    for (const place of places.values()) {
      const free = places.size > 1 && numbered.every((each) => each.distanceTo(place.centre) > 2.4 * radius);
      if (free) numbered.push(place.centre);
      this.addStation(place, radius, free, look);
    }
  }

  /** A ball that a head swings about stays where it is: its place needs no number. */
  addStation({ label, centre, touches = [] }, radius, numbered, look) {
    const ghost = new three.Mesh(new three.SphereGeometry(radius, 20, 14), material(look.artefact, 0.25));
    ghost.position.copy(centre);
    this.scene.add(ghost);
    for (const touch of touches) this.addDot(touchPlace(centre, radius, touch), radius / 6, look.touch);
    if (!numbered) return;
    const sign = letter(label, look.ink, radius * 2.2);
    sign.position.copy(centre).add(new three.Vector3(0, 0, radius * 2));
    this.scene.add(sign);
  }

  addDot(at, radius, colour) {
    const dot = new three.Mesh(new three.SphereGeometry(radius, 12, 8), material(colour));
    dot.position.copy(at);
    this.scene.add(dot);
  }

  /** @param view front, side, top or corner */
  lookFrom(view) {
    this.view = view;
    const middle = this.low.clone().add(this.high).multiplyScalar(0.5);
    const worked = this.shown.machine.artefact[0];
    if (worked) middle.lerp(vector(worked.at), 0.5);
    const away = { front: [0.25, -1, 0.35], side: [1, -0.05, 0.2], top: [0, -0.02, 1], corner: [0.8, -0.9, 0.6] }[view];
    const distance = this.low.distanceTo(this.high) * 1.25 * Math.max(1, 1.1 / this.camera.aspect);
    this.controls.target.copy(middle);
    this.camera.position.copy(middle).addScaledVector(vector(away).normalize(), distance);
    this.controls.update();
    this.draw();
  }

  /** @param factor below 1 comes nearer */
  nearer(factor) {
    const offset = this.camera.position.clone().sub(this.controls.target).multiplyScalar(factor);
    this.camera.position.copy(this.controls.target).add(offset);
    this.controls.update();
    this.draw();
  }

  resize() {
    const { clientWidth, clientHeight } = this.canvas.parentElement;
    if (clientWidth === 0 || clientHeight === 0) return;
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.renderer.setSize(clientWidth, clientHeight, false);
    this.camera.aspect = clientWidth / clientHeight;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  draw() {
    this.renderer.render(this.scene, this.camera);
  }
}

/** Where the artefact is in the machine at these angles: the work side's rotations, innermost first. */
export function carriedTo(machine, artefact, angles) {
  const place = vector(artefact.at);
  const chain = machine.rotary.filter((axis) => axis.carries !== 'tool');
  const reachedBy = chain.findIndex((axis) => axis.letter === artefact.carried_by);
  for (let k = reachedBy; k >= 0; --k) {
    const axis = chain[k];
    const centre = vector(axis.centre);
    place
      .sub(centre)
      .applyAxisAngle(vector(unitOf[axis.along] ?? unitOf.X), turnOf(axis) * radians(angles[axis.letter] ?? 0))
      .add(centre);
  }
  return place;
}

/** The same in words, for those who do not see it. */
export function spokenDrawing(machine, angles) {
  const axes = machine.rotary.map(
    (axis) => `axis ${axis.letter} along ${axis.along}, at ${(angles[axis.letter] ?? 0).toFixed(0)} degrees`,
  );
  const where = machine.artefact.slice(0, 1).map((each) => {
    const place = carriedTo(machine, each, angles).toArray().map((value) => value.toFixed(1));
    return `${each.name ?? 'artefact'} at X ${place[0]}, Y ${place[1]}, Z ${place[2]}`;
  });
  return `Scale drawing of the machine: ${[...axes, ...where].join('; ')}.`;
}
