// Seconds three.js takes to retarget a clip onto a copy of its own skeleton, in main memory. Usage: node retarget_three.mjs FILE.bvh OUT.txt
import fs from 'node:fs';
globalThis.self = globalThis;
const THREE = await import('three');
const { BVHLoader } = await import('three/examples/jsm/loaders/BVHLoader.js');
const SkeletonUtils = await import('three/examples/jsm/utils/SkeletonUtils.js');
const text = fs.readFileSync(process.argv[2], 'utf8');
const source = new BVHLoader().parse(text), target = new BVHLoader().parse(text);
const mesh = (s) => {
  const m = new THREE.SkinnedMesh(new THREE.BufferGeometry(), new THREE.MeshBasicMaterial());
  m.add(s.skeleton.bones[0]);
  m.bind(s.skeleton);
  return m;
};
const names = Object.fromEntries(source.skeleton.bones.map((b) => [b.name, b.name]));
const frames = source.clip.tracks[0].times.length;
const a = mesh(target), b = mesh(source), begin = performance.now();
SkeletonUtils.retargetClip(a, b, source.clip, { names, fps: Math.round((frames - 1) / source.clip.duration), hip: source.skeleton.bones[0].name });
fs.writeFileSync(process.argv[3], String((performance.now() - begin) / 1000));
