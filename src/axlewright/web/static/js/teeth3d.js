// @ts-check
// The tooth pair in 3-D: the pattern on the ring gear's teeth, turned and pinched by finger, rolled by a button.
import { _ } from "./words.js";

/** @type {any} */
let three = null;
/** Made at set-up; not there without Node. @type {string} */
const BUNDLE = "/static/vendor/three.js";
const STEEL = 0x9aa7ad;
const PINION = 0x6f8794;
const MARK = "#f4c95d";

/** Bits of a kept mask. @param {string[]} lines */
function bits(lines) {
  return lines.map((line) => [...line].flatMap((d) => [3, 2, 1, 0].map((k) => (parseInt(d, 16) >> k) & 1)));
}

/** @param {HTMLElement} box */
async function start(box) {
  const root = /** @type {HTMLElement} */ (document.querySelector("[data-rolling]"));
  const said = /** @type {HTMLElement} */ (box.querySelector("[data-said]"));
  try {
    three = await import(BUNDLE);
  } catch {
    said.textContent = _("The 3-D view needs its browser parts: run 'python tasks.py vendor' once, with Node installed.");
    return;
  }
  const answer = await fetch(`/api/teeth?design=${encodeURIComponent(root.dataset.design ?? "")}`);
  if (!answer.ok) {
    said.textContent = _("The teeth of this design could not be drawn.");
    return;
  }
  const model = await answer.json();
  const canvas = document.createElement("canvas");
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", _("Pinion and ring gear teeth in mesh, the contact pattern on the ring gear teeth. The same in words stands beside the drawings."));
  box.querySelector("[data-canvas]")?.append(canvas);
  /** @type {any} */
  let renderer;
  try {
    renderer = new three.WebGLRenderer({ canvas, antialias: true, alpha: true });
  } catch {
    said.textContent = _("This browser cannot draw in 3-D; the flat drawings show the same.");
    canvas.remove();
    return;
  }
  said.textContent = _("Turn with one finger, pinch to come closer.");

  const scene = new three.Scene();
  scene.add(new three.AmbientLight(0xffffff, 0.9));
  const sun = new three.DirectionalLight(0xffffff, 2.4);
  const fill = new three.DirectionalLight(0xffffff, 0.9);
  scene.add(sun, fill);
  const camera = new three.PerspectiveCamera(32, 1, 1, 5000);

  /** @param {any} grid */
  function vertices(grid) {
    const out = [];
    for (let i = 0; i < grid.points.length; i += 3) out.push(new three.Vector3(grid.points[i], grid.points[i + 1], grid.points[i + 2]));
    return out;
  }

  /** A grid of points as a surface with places for the pattern picture. @param {any[]} points @param {number} columns @param {number} rows */
  function surface(points, columns, rows) {
    const geometry = new three.BufferGeometry();
    const place = new Float32Array(points.length * 3);
    const uv = new Float32Array(points.length * 2);
    points.forEach((p, i) => {
      place.set([p.x, p.y, p.z], 3 * i);
      uv.set([(i % columns) / (columns - 1), Math.floor(i / columns) / (rows - 1)], 2 * i);
    });
    const index = [];
    for (let r = 0; r + 1 < rows; r++) {
      for (let c = 0; c + 1 < columns; c++) {
        const a = r * columns + c;
        index.push(a, a + 1, a + columns, a + 1, a + columns + 1, a + columns);
      }
    }
    geometry.setAttribute("position", new three.BufferAttribute(place, 3));
    geometry.setAttribute("uv", new three.BufferAttribute(uv, 2));
    geometry.setIndex(index);
    geometry.computeVertexNormals();
    return geometry;
  }

  /** The strip between two flanks: along the top, the toe and the heel. @param {any} one @param {any} two @param {boolean} topLast */
  function closing(one, two, topLast) {
    const a = vertices(one);
    const b = vertices(two);
    const top = topLast ? one.rows - 1 : 0;
    const rim = [];
    for (let r = topLast ? 0 : one.rows - 1; r !== top; r += topLast ? 1 : -1) rim.push(r * one.columns);
    for (let c = 0; c < one.columns; c++) rim.push(top * one.columns + c);
    for (let r = top; topLast ? r >= 0 : r < one.rows; r += topLast ? -1 : 1) rim.push(r * one.columns + one.columns - 1);
    const points = [...rim.map((i) => a[i]), ...rim.map((i) => b[i])];
    return surface(points, rim.length, 2);
  }

  const pictures = { drive: document.createElement("canvas"), coast: document.createElement("canvas") };
  /** @type {Record<string, any>} */
  const skins = {};
  for (const flank of ["drive", "coast"]) {
    const picture = pictures[/** @type {"drive"|"coast"} */ (flank)];
    picture.width = 384;
    picture.height = 192;
    const texture = new three.CanvasTexture(picture);
    texture.colorSpace = three.SRGBColorSpace;
    texture.flipY = false;
    skins[flank] = { texture, material: new three.MeshStandardMaterial({ map: texture, metalness: 0.35, roughness: 0.5, side: three.DoubleSide }) };
  }
  const plain = new three.MeshStandardMaterial({ color: STEEL, metalness: 0.45, roughness: 0.5, side: three.DoubleSide });
  const blue = new three.MeshStandardMaterial({ color: PINION, metalness: 0.45, roughness: 0.5, side: three.DoubleSide });

  /** @param {any} data */
  function paint(data) {
    for (const flank of ["drive", "coast"]) {
      const pen = pictures[/** @type {"drive"|"coast"} */ (flank)].getContext("2d");
      if (!pen) continue;
      pen.fillStyle = "#9aa7ad";
      pen.fillRect(0, 0, 384, 192);
      const mask = data.flanks[flank].mask;
      if (mask) {
        pen.fillStyle = MARK;
        bits(mask).forEach((row, r) => row.forEach((on, c) => on && pen.fillRect(c * 4, r * 4, 4, 4)));
      }
      skins[flank].texture.needsUpdate = true;
    }
    draw();
  }

  const axis = new three.Vector3(...model.pinion_axis);
  const origin = new three.Vector3(...model.pinion_origin);
  const ring = new three.Group();
  const ringParts = [
    [surface(vertices(model.ring.drive), model.ring.drive.columns, model.ring.drive.rows), skins.drive.material],
    [surface(vertices(model.ring.coast), model.ring.coast.columns, model.ring.coast.rows), skins.coast.material],
    [closing(model.ring.drive, model.ring.coast, true), plain],
  ];
  /** The two flanks of each ring gear tooth; those that were not rolled yet are without marks. @type {any[][]} */
  const flanks = [];
  for (let k = 0; k < model.ring_teeth; k++) {
    const tooth = new three.Group();
    const meshes = ringParts.map(([geometry, material]) => new three.Mesh(geometry, material));
    flanks.push(meshes.slice(0, 2));
    tooth.add(...meshes);
    tooth.rotation.z = (2 * Math.PI * k) / model.ring_teeth;
    ring.add(tooth);
  }
  const body = new three.LatheGeometry(model.ring_body.map((/** @type {number[]} */ p) => new three.Vector2(p[0], p[1])), 160);
  body.rotateX(Math.PI / 2);
  ring.add(new three.Mesh(body, plain));
  const pinionTurn = new three.Group();
  const pinionPlace = new three.Group();
  const pinionParts = [
    surface(vertices(model.pinion.drive).map((p) => p.sub(origin)), model.pinion.drive.columns, model.pinion.drive.rows),
    surface(vertices(model.pinion.coast).map((p) => p.sub(origin)), model.pinion.coast.columns, model.pinion.coast.rows),
  ];
  const shift = new three.Matrix4().makeTranslation(-origin.x, -origin.y, -origin.z);
  pinionParts.push(closing(model.pinion.drive, model.pinion.coast, false).applyMatrix4(shift));
  for (let k = 0; k < model.pinion_teeth; k++) {
    const tooth = new three.Group();
    for (const geometry of pinionParts) tooth.add(new three.Mesh(geometry, blue));
    tooth.quaternion.setFromAxisAngle(axis, (2 * Math.PI * k) / model.pinion_teeth);
    pinionTurn.add(tooth);
  }
  // A closed body under the teeth, with a shaft at its larger end.
  const outline = model.pinion_body.map((/** @type {number[]} */ p) => new three.Vector2(Math.max(0.1, p[0] - 0.2), p[1]));
  const first = outline[0];
  const last = outline[outline.length - 1];
  const long = last.y - first.y;
  const shaft = 0.5 * Math.max(first.x, last.x);
  if (last.x > first.x) {
    outline.unshift(new three.Vector2(0, first.y));
    outline.push(new three.Vector2(shaft, last.y), new three.Vector2(shaft, last.y + long), new three.Vector2(0, last.y + long));
  } else {
    outline.push(new three.Vector2(0, last.y));
    outline.unshift(new three.Vector2(0, first.y - long), new three.Vector2(shaft, first.y - long), new three.Vector2(shaft, first.y));
  }
  const core = new three.LatheGeometry(outline, 96);
  const coreMesh = new three.Mesh(core, blue);
  coreMesh.quaternion.setFromUnitVectors(new three.Vector3(0, 1, 0), axis);
  pinionTurn.add(coreMesh);
  pinionPlace.add(pinionTurn);
  pinionPlace.position.copy(origin);
  scene.add(ring, pinionPlace);

  const middle = vertices(model.ring.drive)[Math.floor(model.ring.drive.points.length / 6)];
  const outward = new three.Vector3(middle.x, middle.y, 0).normalize();
  const size = middle.length();
  const controls = new three.OrbitControls(camera, canvas);
  controls.enablePan = false;
  controls.target.copy(middle);
  const views = {
    drive: () => outward.clone().multiplyScalar(0.75).add(new three.Vector3(0, 0, -0.55)).add(new three.Vector3(-outward.y, outward.x, 0).multiplyScalar(model.forward > 0 ? 0.9 : -0.9)),
    coast: () => outward.clone().multiplyScalar(0.75).add(new three.Vector3(0, 0, -0.55)).add(new three.Vector3(-outward.y, outward.x, 0).multiplyScalar(model.forward > 0 ? -0.9 : 0.9)),
    pair: () => outward.clone().multiplyScalar(1.0).add(new three.Vector3(0, 0, -0.8)).add(new three.Vector3(-outward.y, outward.x, 0).multiplyScalar(0.7)),
  };
  /** @param {"drive"|"coast"|"pair"} name */
  function look(name) {
    // One flank is looked at with the pinion out of the way; the pair is looked at in mesh.
    pinionPlace.visible = name === "pair";
    if (name !== "pair") shown.flank = name;
    const way = views[name]().normalize();
    controls.target.copy(name === "pair" ? middle.clone().add(new three.Vector3(0, 0, -0.18 * size)) : middle);
    camera.position.copy(controls.target.clone().add(way.multiplyScalar(size * (name === "pair" ? 3.2 : 1.15))));
    camera.up.set(0, 0, -1);
    sun.position.copy(camera.position).add(new three.Vector3(size, size, 0));
    fill.position.copy(camera.position).multiplyScalar(-1);
    controls.update();
    draw();
  }

  // Names of the tooth's edges, laid over the picture where the edges are.
  const shown = { flank: "drive" };
  /** @type {Record<string, Record<string, any>>} */
  const edges = Object.fromEntries(
    ["drive", "coast"].map((flank) => {
      const { columns, rows } = model.ring[flank];
      const points = vertices(model.ring[flank]);
      /** @param {number} r @param {number} c */
      const at = (r, c) => points[r * columns + c];
      const [r, c] = [Math.floor(rows / 2), Math.floor(columns / 2)];
      return [flank, { toe: at(r, 0), heel: at(r, columns - 1), top: at(rows - 1, c), root: at(0, c), centre: at(r, c) }];
    }),
  );
  const names = /** @type {HTMLElement[]} */ ([...box.querySelectorAll("[data-place]")]);
  /** @param {number} wide @param {number} high */
  function name3d(wide, high) {
    const places = edges[shown.flank];
    const turned = (/** @type {any} */ p) => p.clone().applyAxisAngle(new three.Vector3(0, 0, 1), near()).project(camera);
    const centre = turned(places.centre);
    for (const name of names) {
      const p = turned(places[name.dataset.place ?? "toe"]);
      const [dx, dy] = [(p.x - centre.x) * wide, (centre.y - p.y) * high];
      const far = Math.max(1, Math.hypot(dx, dy));
      // An edge outside the picture is named at the picture's own edge, on the way to it.
      const x = Math.min(wide - 24, Math.max(24, ((p.x + 1) / 2) * wide + (dx / far) * 18));
      const y = Math.min(high - 14, Math.max(14, ((1 - p.y) / 2) * high + (dy / far) * 14));
      name.hidden = p.z > 1 || far < 12;
      name.style.left = `${x}px`;
      name.style.top = `${y}px`;
    }
  }

  let queued = false;
  function draw() {
    if (queued) return;
    queued = true;
    requestAnimationFrame(() => {
      queued = false;
      const wide = box.clientWidth;
      const high = Math.min(460, Math.max(260, wide * 0.6));
      if (canvas.width !== Math.round(wide * devicePixelRatio) || canvas.height !== Math.round(high * devicePixelRatio)) {
        renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
        renderer.setSize(wide, high, false);
        canvas.style.width = "100%";
        canvas.style.height = `${high}px`;
        camera.aspect = wide / high;
        camera.updateProjectionMatrix();
      }
      renderer.render(scene, camera);
      name3d(wide, high);
      box.dataset.distance = camera.position.distanceTo(controls.target).toFixed(1);
      box.dataset.azimuth = controls.getAzimuthalAngle().toFixed(3);
      box.dataset.drawn = String(Number(box.dataset.drawn ?? 0) + 1);
    });
  }

  let angle = 0;
  let rolled = 0;
  const pitch = (2 * Math.PI) / model.ring_teeth;
  /** The turn that brings the tooth nearest to the mesh where tooth 0 stands at rest: names stay on it. */
  function near() {
    return angle - Math.round(angle / pitch) * pitch;
  }
  /** Show marks on the teeth that went through the mesh since rolling began; on all before it began. */
  function mark() {
    const gone = Math.floor(Math.abs(angle) / pitch + 0.5);
    for (; rolled < Math.min(gone + 1, model.ring_teeth); rolled++) {
      const k = (((model.forward > 0 ? -rolled : rolled) % model.ring_teeth) + model.ring_teeth) % model.ring_teeth;
      flanks[k][0].material = skins.drive.material;
      flanks[k][1].material = skins.coast.material;
    }
    box.dataset.marked = String(rolled);
  }
  function turn() {
    ring.rotation.z = angle;
    pinionTurn.quaternion.setFromAxisAngle(axis, (-angle * model.ring_teeth) / model.pinion_teeth);
  }
  let rolling = false;
  let before = 0;
  /** @param {number} now */
  function step(now) {
    if (!rolling) return;
    angle += model.forward * Math.min(0.1, (now - before) / 1000) * 0.25;
    before = now;
    turn();
    mark();
    draw();
    requestAnimationFrame(step);
  }
  const play = box.querySelector("[data-play]");
  play?.addEventListener("click", () => {
    rolling = !rolling;
    if (rolling && rolled === 0) for (const [drive, coast] of flanks) drive.material = coast.material = plain;
    play.textContent = rolling ? _("Stop") : _("Roll");
    play.setAttribute("aria-pressed", String(rolling));
    before = performance.now();
    if (rolling) requestAnimationFrame(step);
  });
  for (const button of box.querySelectorAll("[data-look]")) {
    button.addEventListener("click", () => look(/** @type {any} */ (button).dataset.look));
  }
  controls.addEventListener("change", draw);
  new ResizeObserver(draw).observe(box);
  document.addEventListener("axlewright:rolled", (event) => {
    const data = /** @type {CustomEvent} */ (event).detail;
    if (data.flanks) paint(data);
  });
  const now = await fetch(`/api/roll${location.search || `?design=${root.dataset.design}`}`);
  if (now.ok) paint(await now.json());
  turn();
  look("drive");
  box.dataset.ready = "yes";
}

const button = document.querySelector("[data-open3d]");
const box = document.querySelector("[data-teeth3d]");
if (button instanceof HTMLElement && box instanceof HTMLElement) {
  button.hidden = false;
  button.addEventListener("click", () => {
    button.hidden = true;
    box.hidden = false;
    start(box);
  });
}
