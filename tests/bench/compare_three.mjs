// Times three.js's BVH loader and retargeting against ours on the same clip, in turn, and prints the ratios.
// Usage (after tests/outside/run.sh has installed three.js): node compare_three.mjs BIN-FOLDER FILE.bvh
// three.js retargets the clip onto a copy of its own skeleton, ours onto itself; both figures are per joint and frame.
import fs from 'node:fs';
import { execFileSync } from 'node:child_process';
import path from 'node:path';
globalThis.self = globalThis;
const THREE = await import('three');
const { BVHLoader } = await import('three/examples/jsm/loaders/BVHLoader.js');
const SkeletonUtils = await import('three/examples/jsm/utils/SkeletonUtils.js');

const [bin, file] = process.argv.slice(2);
const text = fs.readFileSync(file, 'utf8');
const median = (v) => v.sort((a, b) => a - b)[v.length >> 1];
const rounds = 5, load = [], turn = [];
let joints = 0, frames = 0;
for (let i = 0; i < rounds; ++i) {
  let t = performance.now();
  const source = new BVHLoader().parse(text);
  load.push(performance.now() - t);
  const target = new BVHLoader().parse(text);
  joints = source.skeleton.bones.filter((b) => b.name !== 'ENDSITE').length;
  frames = source.clip.tracks[0].times.length;
  const mesh = (s) => {
    const m = new THREE.SkinnedMesh(new THREE.BufferGeometry(), new THREE.MeshBasicMaterial());
    m.add(s.skeleton.bones[0]);
    m.bind(s.skeleton);
    return m;
  };
  const names = Object.fromEntries(source.skeleton.bones.map((b) => [b.name, b.name]));
  const fps = Math.round((frames - 1) / source.clip.duration);
  const a = mesh(target), b = mesh(source);
  t = performance.now();
  SkeletonUtils.retargetClip(a, b, source.clip, { names, fps, hip: source.skeleton.bones[0].name });
  turn.push(performance.now() - t);
}
const ours = JSON.parse(execFileSync(path.join(bin, 'understudy-bench'), ['--benchmark_filter=compare/', '--benchmark_format=json'],
  { encoding: 'utf8', env: { ...process.env, UNDERSTUDY_BENCH_FILE: file } })).benchmarks;
const cpu = (name) => ours.find((b) => b.name.includes(name)).cpu_time;
const ns = (ms) => (ms * 1e6) / (joints * frames);
console.log(`${path.basename(file)}: ${joints} joints, ${frames} frames, ${(text.length / 1e6).toFixed(2)} MB`);
console.log(`read      three.js ${median(load).toFixed(1)} ms, ours ${cpu('read').toFixed(2)} ms (${(text.length / 1e3 / cpu('read')).toFixed(0)} MB/s): ${(median(load) / cpu('read')).toFixed(0)} x`);
console.log(`retarget  three.js ${ns(median(turn)).toFixed(0)} ns, ours ${ns(cpu('retarget')).toFixed(1)} ns a joint and frame: ${(median(turn) / cpu('retarget')).toFixed(0)} x`);
