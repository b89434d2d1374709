// Loads BVH and glTF with three.js (an independent reader) and answers joint positions at a time, in file coordinates.
import fs from 'node:fs';
globalThis.self = globalThis;
globalThis.ProgressEvent ??= class {};
const THREE = await import('three');
const { BVHLoader } = await import('three/examples/jsm/loaders/BVHLoader.js');
const { GLTFLoader } = await import('three/examples/jsm/loaders/GLTFLoader.js');

export { THREE };

class Animated {
  constructor(root, clip, nodes) {
    this.root = root;
    this.nodes = nodes;  // key → Object3D
    this.duration = clip ? clip.duration : 0;
    if (clip) {
      this.mixer = new THREE.AnimationMixer(root);
      const action = this.mixer.clipAction(clip);
      action.setLoop(THREE.LoopOnce);
      action.clampWhenFinished = true;
      action.play();
    }
  }
  at(time) {
    if (this.mixer) this.mixer.setTime(Math.min(time, this.duration - 1e-9));
    this.root.updateMatrixWorld(true);
  }
  position(key) {
    const node = this.nodes.get(key);
    return node ? new THREE.Vector3().setFromMatrixPosition(node.matrixWorld) : null;
  }
}

export function loadBvh(path) {
  const result = new BVHLoader().parse(fs.readFileSync(path, 'utf8'));
  const root = new THREE.Group();
  root.add(result.skeleton.bones[0]);
  const nodes = new Map();
  for (const bone of result.skeleton.bones) {
    if (bone.name === 'ENDSITE') continue;
    nodes.set(bone.name, bone);
  }
  const animated = new Animated(root, result.clip, nodes);
  const text = fs.readFileSync(path, 'utf8');
  const rate = text.match(/Frame Time:\s*([0-9.eE+-]+)/);
  // three.js adds a root's OFFSET to its position channels; by the format's usual reading they replace it.
  const offset = text.match(/ROOT[^{]*\{\s*OFFSET\s+(\S+)\s+(\S+)\s+(\S+)\s+CHANNELS\s+6/);
  if (offset) root.position.set(-offset[1], -offset[2], -offset[3]);
  animated.frameTime = Number(rate[1]);
  animated.frames = result.clip.tracks[0].times.length;
  return animated;
}

/** The JSON and binary chunk of a .glb or .gltf. */
export function gltfParts(path) {
  const bytes = fs.readFileSync(path);
  if (bytes.readUInt32LE(0) !== 0x46546c67) return { json: JSON.parse(bytes.toString('utf8')), bin: null };
  const length = bytes.readUInt32LE(12);
  const json = JSON.parse(bytes.subarray(20, 20 + length).toString('utf8'));
  const at = 20 + length;
  return { json, bin: at < bytes.length ? bytes.subarray(at + 8, at + 8 + bytes.readUInt32LE(at)) : null };
}

export async function loadGltf(path, clipName) {
  const { json, bin } = gltfParts(path);
  // Pictures need a browser; joints do not.
  delete json.images; delete json.textures; delete json.samplers; delete json.materials;
  for (const mesh of json.meshes ?? []) for (const p of mesh.primitives) delete p.material;
  if (bin && json.buffers) json.buffers[0].uri = 'data:application/octet-stream;base64,' + bin.toString('base64');
  const loader = new GLTFLoader();
  const gltf = await new Promise((done, fail) => loader.parse(JSON.stringify(json), '', done, fail));
  const nodes = new Map();
  for (const [object, reference] of gltf.parser.associations)
    if (reference && reference.nodes !== undefined && object.isObject3D && !nodes.has('#' + reference.nodes)) nodes.set('#' + reference.nodes, object);
  json.nodes.forEach((node, index) => {
    if (node.name && json.nodes.filter((n) => n.name === node.name).length === 1) nodes.set(node.name, nodes.get('#' + index));
  });
  const clip = clipName === undefined ? gltf.animations.find((c) => c.name.startsWith('Understudy')) ?? gltf.animations.at(-1) : gltf.animations.find((c) => c.name === clipName);
  return new Animated(gltf.scene, clip, nodes);
}

/** Rows of our CSV hand-over: Map(frame → Map(joint → [x, y, z])) in metres. */
export function loadCsv(path) {
  const frames = new Map();
  const lines = fs.readFileSync(path, 'utf8').split('\n').filter((l) => l && !l.startsWith('#'));
  const split = (line) => line.match(/("([^"]|"")*"|[^,]*)(,|$)/g).map((c) => c.replace(/,$/, '').replace(/^"|"$/g, '').replaceAll('""', '"'));
  const header = split(lines[0]).map((h) => h.trim().toLowerCase());
  const column = (...names) => header.findIndex((h) => names.includes(h));
  const f = column('frame'), j = column('joint'), x = column('x', 'px', 'position_x', 'x_m');
  for (const line of lines.slice(1)) {
    const cells = split(line);
    if (!frames.has(+cells[f])) frames.set(+cells[f], new Map());
    frames.get(+cells[f]).set(cells[j], [+cells[x], +cells[x + 1], +cells[x + 2]]);
  }
  return frames;
}
