// Viewer of mode shapes: turns, moves and colours one surface from numbers in the page. No library, nothing is fetched.
"use strict";
(function () {
const figure = document.getElementById("viewer");
if (!figure) return;
const data = JSON.parse(document.getElementById("viewer-data").textContent);
const canvas = figure.querySelector("canvas");
const control = (name) => figure.querySelector(`[name=${name}]`);

// --- numbers out of base64 ---

function numbers(text, Kind) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return new Kind(bytes.buffer);
}
const points = numbers(data.points, Int16Array), normal = numbers(data.normal, Int8Array);
const triangles = numbers(data.triangles, Uint16Array);
const lines = Object.fromEntries(Object.entries(data.lines).map(([kind, t]) => [kind, numbers(t, Uint16Array)]));
const rest = { motion: new Int16Array(points.length), scale: 0 };  // where a build has no such mode
const low = [0, 1, 2].map((k) => extreme(k, Math.min)), high = [0, 1, 2].map((k) => extreme(k, Math.max));
const middle = low.map((v, k) => (v + high[k]) / 2), extent = Math.max(...high.map((v, k) => v - low[k]));
function extreme(axis, pick) {
  let found = points[axis];
  for (let i = axis; i < points.length; i += 3) found = pick(found, points[i]);
  return found * data.unit;
}
const tones = data.tones.map((hex) => [1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16) / 255));

// --- what is shown ---

const FRONT = { yaw: -0.42, pitch: -0.45 }, BACK = { yaw: Math.PI - 0.42, pitch: -0.45 };  // as in the printed pictures
const state = { mode: 0, build: data.builds[0].name, zoom: 1, clock: 0, moving: false, ...FRONT };
state.moving = !matchMedia("(prefers-reduced-motion: reduce)").matches;
const shown = () => data.modes[state.mode].builds[state.build];
const decoded = new Map();
function shape() {
  const own = shown();
  if (!own) return rest;
  if (!decoded.has(own)) decoded.set(own, { motion: numbers(own.motion, Int16Array), scale: own.scale });
  return decoded.get(own);
}
const swing = () => Math.cos(state.clock), stretch = () => 0.05 * extent * control("stretch").value;

// Rows of the turning: body's -y to the right, its x (towards the neck) up, its z (out of the top) to the eye, then yaw
// about the upright axis and pitch about the level one.
function turning() {
  const c = Math.cos(state.yaw), s = Math.sin(state.yaw), a = Math.cos(state.pitch), b = Math.sin(state.pitch);
  return [[0, -c, s], [a, b * -s, -b * c], [b, a * s, a * c]];
}
// Column-major matrix for place = (right, up, depth, w), the eye 3.2 extents away.
function viewing(turn) {
  const far = 3.2 * extent, wide = canvas.width / canvas.height, size = (1.12 * extent) / state.zoom / Math.min(1, wide * 1.15);
  const lens = (2 * far) / size, near = far - extent, end = far + extent;
  const shift = turn.map((row) => -row.reduce((sum, v, k) => sum + v * middle[k], 0));
  const column = (k) => {
    const [x, y, z] = k < 3 ? turn.map((row) => row[k]) : [shift[0], shift[1], shift[2] - far];
    const p = (end + near) / (near - end), q = (2 * end * near) / (near - end);
    return [(lens / wide) * x, lens * y, p * z + (k < 3 ? 0 : q), -z];
  };
  return [0, 1, 2, 3].flatMap(column);
}

// --- WebGL ---

const VERTEX = `#version 300 es
in vec3 place, outward, motion;
uniform mat4 view; uniform mat3 turn; uniform float unit, scale, reach; uniform vec3 nudge;
out float shape; out vec3 facing, at;
void main() {
  vec3 moved = motion * scale;
  at = place * unit + reach * moved;
  shape = dot(moved, outward);
  facing = turn * outward;
  gl_Position = view * vec4(at, 1.0);
  gl_Position.xyz += nudge * gl_Position.w;
}`;
const FRAGMENT = `#version 300 es
precision highp float;
in float shape; in vec3 facing, at;
uniform float now, dots; uniform vec4 ink; uniform vec3 tones[11];
out vec4 color;
vec3 tone(float w) {  // twenty bands, their borders softened over a pixel
  float b = clamp(w * 10.0 + 10.0, 0.0, 19.999), soft = min(fwidth(b), 1.0) + 1e-4;
  float k = clamp((floor(b) + smoothstep(1.0 - soft, 1.0, fract(b)) + 0.5) / 2.0, 0.0, 9.999);
  return mix(tones[int(k)], tones[int(k) + 1], fract(k));
}
void main() {
  if (ink.a > 0.0) { color = vec4(ink.rgb * ink.a, ink.a); return; }
  vec3 n = normalize(gl_FrontFacing ? facing : -facing);
  float light = 0.70 + 0.32 * max(0.0, dot(n, normalize(vec3(-0.3, 0.5, 1.0))));
  vec3 paint = gl_FrontFacing ? tone(shape * now) : vec3(0.34, 0.325, 0.30);
  // nodal line: |shape| within a few pixels of zero, left out where the surface hardly moves
  vec2 slope = vec2(dFdx(shape), dFdy(shape));
  vec2 step_ = vec2(length(dFdx(at)), length(dFdy(at)));
  float a_metre = max(abs(slope.x) / step_.x, abs(slope.y) / step_.y);
  float away = abs(shape) / max(length(slope), 1e-9);
  float node = (1.0 - smoothstep(dots - 0.5, dots + 0.5, away)) * smoothstep(1.0, 2.0, a_metre);
  color = vec4(mix(paint * light, vec3(0.0), gl_FrontFacing ? node : 0.0), 1.0);
}`;

function webgl() {
  const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true, alpha: false });
  if (!gl) return null;
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  gl.useProgram(program);
  const uniform = (name) => gl.getUniformLocation(program, name);
  const attribute = (name, array, kind, normalised) => {
    const buffer = gl.createBuffer(), where = gl.getAttribLocation(program, name);
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, array, gl.DYNAMIC_DRAW);
    gl.enableVertexAttribArray(where);
    gl.vertexAttribPointer(where, 3, kind, normalised, 0, 0);
    return buffer;
  };
  attribute("place", points, gl.SHORT, false);
  attribute("outward", normal, gl.BYTE, true);
  const motion = attribute("motion", rest.motion, gl.SHORT, true);
  const index = (array) => {
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, array, gl.STATIC_DRAW);
    return { buffer, count: array.length };
  };
  const faces = index(triangles), edges = Object.entries(lines).map(([kind, array]) => [kind, index(array)]);
  gl.uniform3fv(uniform("tones"), tones.flat());
  gl.uniform1f(uniform("unit"), data.unit);
  gl.enable(gl.DEPTH_TEST);
  gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
  gl.clearColor(1, 1, 1, 1);
  let last = null;
  return function draw() {
    const own = shape(), turn = turning(), dot = devicePixelRatio || 1;
    if (own !== last) {
      gl.bindBuffer(gl.ARRAY_BUFFER, motion);
      gl.bufferData(gl.ARRAY_BUFFER, own.motion, gl.DYNAMIC_DRAW);
      last = own;
    }
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix4fv(uniform("view"), false, viewing(turn));
    gl.uniformMatrix3fv(uniform("turn"), false, [0, 1, 2].flatMap((k) => turn.map((row) => row[k])));
    gl.uniform1f(uniform("scale"), own.scale);
    gl.uniform1f(uniform("reach"), stretch() * swing());
    gl.uniform1f(uniform("now"), swing());
    gl.uniform1f(uniform("dots"), 1.1 * dot);
    const paint = (part, kind, ink, nudge) => {
      gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, part.buffer);
      gl.uniform4fv(uniform("ink"), ink);
      gl.uniform3fv(uniform("nudge"), nudge);
      gl.drawElements(kind, part.count, gl.UNSIGNED_SHORT, 0);
    };
    paint(faces, gl.TRIANGLES, [0, 0, 0, 0], [0, 0, 0]);
    gl.enable(gl.BLEND);
    const x = (0.5 * dot) / canvas.width, y = (0.5 * dot) / canvas.height, z = -0.003;  // a little nearer to the eye
    for (const [kind, part] of edges) {  // several strokes side by side: lines of one pixel are too thin
      const strokes = kind === "inside" ? [[0, 0, z]] : [[x, y, z], [-x, y, z], [x, -y, z], [-x, -y, z]];
      for (const stroke of strokes) paint(part, gl.LINES, [0.1, 0.1, 0.1, kind === "inside" ? 0.45 : 0.9], stroke);
    }
    gl.disable(gl.BLEND);
  };
}

// --- a still picture where there is no WebGL ---

function still() {
  const pen = canvas.getContext("2d");
  if (!pen) return null;
  const paint = (w) => {
    const k = Math.min(9.999, (Math.floor(Math.min(19.999, Math.max(0, w * 10 + 10))) + 0.5) / 2), i = Math.floor(k);
    return tones[i].map((v, c) => v + (tones[i + 1][c] - v) * (k - i));
  };
  return function draw() {
    const own = shape(), turn = turning(), view = viewing(turn), reach = (stretch() * own.scale) / 32767;
    const seen = [], w = [];
    for (let i = 0; i < points.length; i += 3) {
      const p = [0, 1, 2].map((k) => points[i + k] * data.unit + reach * own.motion[i + k]);
      const q = [0, 1, 3].map((k) => view[k] * p[0] + view[4 + k] * p[1] + view[8 + k] * p[2] + view[12 + k]);
      seen.push([(0.5 + q[0] / q[2] / 2) * canvas.width, (0.5 - q[1] / q[2] / 2) * canvas.height, q[2]]);
      w.push([0, 1, 2].reduce((sum, k) => sum + (own.motion[i + k] * normal[i + k] * own.scale) / 32767 / 127, 0));
    }
    const faces = [];
    for (let t = 0; t < triangles.length; t += 3) {
      const [a, b, c] = [triangles[t], triangles[t + 1], triangles[t + 2]], [A, B, C] = [seen[a], seen[b], seen[c]];
      const front = (B[0] - A[0]) * (C[1] - A[1]) - (C[0] - A[0]) * (B[1] - A[1]) < 0;
      const tone = front ? paint((w[a] + w[b] + w[c]) / 3) : [0.34, 0.325, 0.3];
      faces.push({ depth: A[2] + B[2] + C[2], corners: [A, B, C], ink: `rgb(${tone.map((v) => Math.round(255 * v))})` });
    }
    faces.sort((one, other) => other.depth - one.depth);
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    for (const face of faces) {
      pen.fillStyle = pen.strokeStyle = face.ink;
      pen.beginPath();
      for (const [x, y] of face.corners) pen.lineTo(x, y);
      pen.closePath();
      pen.fill();
      pen.stroke();
    }
    pen.strokeStyle = "#1a1a1a";
    for (const edge of Object.values(lines)) {
      for (let i = 0; i < edge.length; i += 2) {
        const n = 3 * edge[i], towards = [0, 1, 2].reduce((sum, k) => sum + turn[2][k] * normal[n + k], 0);
        if (towards < 0) continue;
        pen.beginPath();
        for (const end of [edge[i], edge[i + 1]]) pen.lineTo(seen[end][0], seen[end][1]);
        pen.stroke();
      }
    }
  };
}

// --- controls ---

let draw = null;
try { draw = webgl(); } catch (error) { console.warn(error.message); }
const turns = draw !== null;
if (!turns) { draw = still(); state.moving = false; figure.classList.add("still"); }

function say() {
  const own = shown(), mode = data.modes[state.mode], label = data.builds.find((b) => b.name === state.build).label;
  const hertz = (build) => `${build.short} ${mode.builds[build.name] ? mode.builds[build.name].hz.toFixed(1) + " Hz" : "–"}`;
  control("status").textContent = own
    ? `Mode ${state.mode + 1} of ${data.modes.length}: ${own.hz.toFixed(1)} Hz, loss factor ${own.loss_factor.toPrecision(2)}. ${mode.label[0].toUpperCase() + mode.label.slice(1)}. Build: ${label}.`
    : `Mode ${state.mode + 1}: no mode of this build looks like it. Build: ${label}.`;
  control("beside").textContent = `This mode in each build: ${data.builds.map(hertz).join(" · ")}`;
  canvas.setAttribute("aria-label", "Moving picture of the box. " + control("status").textContent);
}
function refresh() {
  control("mode").value = state.mode;
  control("build").value = state.build;
  control("play").textContent = state.moving ? "Stop" : "Move";
  say();
  paint();
}
function paint() {
  const dot = Math.min(2, devicePixelRatio || 1), wide = Math.round(canvas.clientWidth * dot), high = Math.round(canvas.clientHeight * dot);
  if (canvas.width !== wide || canvas.height !== high) { canvas.width = wide; canvas.height = high; }
  if (wide && high) draw();
}
const onward = (list, now, by) => (now + by + list.length) % list.length;
const deeds = {
  ArrowLeft: () => { state.yaw -= 0.12; }, ArrowRight: () => { state.yaw += 0.12; },
  ArrowUp: () => tilt(0.12), ArrowDown: () => tilt(-0.12),
  n: () => { state.mode = onward(data.modes, state.mode, 1); }, p: () => { state.mode = onward(data.modes, state.mode, -1); },
  b: () => { state.build = data.builds[onward(data.builds, data.builds.findIndex((o) => o.name === state.build), 1)].name; },
  " ": () => { state.moving = turns && !state.moving; if (!state.moving) state.clock = 0; },
  "+": () => { state.zoom = Math.min(4, state.zoom * 1.15); }, "-": () => { state.zoom = Math.max(0.5, state.zoom / 1.15); },
  f: () => { control("speed").stepUp(); }, s: () => { control("speed").stepDown(); },
  v: () => Object.assign(state, Math.cos(state.yaw) > 0 ? BACK : FRONT),
};
function tilt(by) { state.pitch = Math.max(-1.5, Math.min(1.5, state.pitch + by)); }
canvas.addEventListener("keydown", (event) => {
  const deed = deeds[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!deed || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  deed();
  refresh();
});
control("mode").addEventListener("change", (event) => { state.mode = Number(event.target.value); refresh(); });
control("build").addEventListener("change", (event) => { state.build = event.target.value; refresh(); });
control("stretch").addEventListener("input", paint);
for (const [name, key] of [["play", " "], ["other", "v"]]) control(name).addEventListener("click", () => { deeds[key](); refresh(); });
let held = null;
canvas.addEventListener("pointerdown", (event) => { canvas.setPointerCapture(event.pointerId); held = event; });
canvas.addEventListener("pointermove", (event) => {
  if (!held || !event.buttons) return;
  state.yaw += (event.clientX - held.clientX) * 0.008;
  tilt((event.clientY - held.clientY) * 0.008);
  held = event;
  paint();
});
addEventListener("resize", paint);
addEventListener("beforeprint", () => {  // a plain copy: the moving one may come out empty on paper
  const copy = figure.querySelector("canvas.paper");
  state.clock = 0;
  paint();
  copy.width = canvas.width;
  copy.height = canvas.height;
  copy.getContext("2d").drawImage(canvas, 0, 0);
});
let before = 0;
function beat(time) {
  const step = Math.min(100, time - before), box = canvas.getBoundingClientRect();
  before = time;
  if (state.moving && box.bottom > 0 && box.top < innerHeight) {
    state.clock += 2 * Math.PI * control("speed").value * (step / 1000);
    paint();
  }
  requestAnimationFrame(beat);
}
if (draw) { refresh(); requestAnimationFrame(beat); }
})();
