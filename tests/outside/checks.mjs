// Checks of files by programs that share no code with ours: three.js reads, the Khronos validator judges.
// Usage: node checks.mjs BIN-FOLDER PROJECT-FOLDER CORPUS-FOLDER WORK-FOLDER. Prints "ok …", "not ok …", "skip …".
import fs from 'node:fs';
import path from 'node:path';
import { execFileSync } from 'node:child_process';
import validator from 'gltf-validator';
import { THREE, loadBvh, loadGltf, loadCsv, gltfParts } from './three_files.mjs';

const [bin, project, corpus, work] = process.argv.slice(2);
const cli = path.join(bin, 'understudy-cli');
fs.mkdirSync(work, { recursive: true });
const haveCorpus = fs.existsSync(corpus);

const check = (good, text) => console.log(`${good ? 'ok' : 'not ok'} ${text}`);
const run = (...args) => execFileSync(cli, args, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'], maxBuffer: 1 << 28 });
const attempt = async (text, body) => {
  try { await body(); } catch (error) { check(false, `${text}: ${String(error.stderr || error.message).split('\n').slice(0, 3).join(' ')}`); }
};

// Codes of errors (severity 0) and warnings (1), counted. Source: Khronos glTF validator.
async function verdict(file) {
  const report = await validator.validateBytes(new Uint8Array(fs.readFileSync(file)), { maxIssues: 0, uri: file, externalResourceFunction: async (uri) => new Uint8Array(fs.readFileSync(path.join(path.dirname(file), decodeURIComponent(uri)))) });
  const counts = {};
  for (const m of report.issues.messages) if (m.severity < 2) counts[m.code] = (counts[m.code] ?? 0) + 1;
  return counts;
}
const beyond = (after, before) => Object.entries(after).filter(([code, n]) => n > (before[code] ?? 0)).map(([code, n]) => `${code} ${before[code] ?? 0} → ${n}`);

const roles = (file) => {
  const truth = JSON.parse(fs.readFileSync(path.join(corpus, 'roles', file + '.roles.json'))).roles;
  const map = {};
  for (const [role, value] of Object.entries(truth)) {
    const first = Array.isArray(value) ? value[0] : value;
    if (first !== null) map[role] = typeof first === 'number' ? '#' + first : first;
  }
  return map;
};
// A glTF character comes back in its own container.
const resultName = (file) => (file.endsWith('.gltf') ? file : file.replace(/\.\w+$/, '.glb'));
const limbs = ['UpperArm LowerArm', 'LowerArm Hand', 'UpperLeg LowerLeg', 'LowerLeg Foot'].flatMap((l) => ['left', 'right'].map((s) => l.split(' ').map((r) => s + r)));
const zUp = (file) => file.includes('_zup');

/** Yaw-free frame: front on +Z by the rest pose's hip line, snapped to a quarter turn as files are made. */
function facing(left, right) {
  const d = left.clone().sub(right);
  const yaw = -Math.atan2(-d.z, d.x);
  return Math.round(yaw / (Math.PI / 2)) * (Math.PI / 2);
}

async function pair(performerFile, characterFile) {
  const name = `${performerFile} on ${characterFile}`;
  const performer = loadBvh(path.join(corpus, 'motion', performerFile));
  const out = path.join(work, `${performerFile}__${resultName(characterFile)}`);
  const answer = JSON.parse(run('retarget', '--performer', path.join(corpus, 'motion', performerFile), '--character', path.join(corpus, 'characters', characterFile), '--out', out, '--json'));
  const character = await loadGltf(out);
  const rs = roles(performerFile), rt = roles(characterFile);
  const up = zUp(performerFile) ? new THREE.Quaternion().setFromAxisAngle(new THREE.Vector3(1, 0, 0), -Math.PI / 2) : new THREE.Quaternion();
  const ps = (key) => performer.position(key)?.applyQuaternion(up);
  const turn = (yaw) => new THREE.Quaternion().setFromAxisAngle(new THREE.Vector3(0, 1, 0), yaw);
  // The character's own rest pose tells where it faces.
  const still = await loadGltf(out, '\0none');
  still.at(0);
  const ft = facing(still.position(rt.leftUpperLeg), still.position(rt.rightUpperLeg));
  const errors = limbs.map(() => []);
  let finite = true;
  const travelS = [], travelT = [];
  const step = Math.max(1, Math.floor(performer.frames / 60));
  for (let f = 0; f < performer.frames; f += step) {
    performer.at(f * performer.frameTime);
    character.at(f * performer.frameTime);
    limbs.forEach(([a, b], i) => {
      if (!rs[a] || !rs[b] || !rt[a] || !rt[b]) return;
      const ds = ps(rs[b]).sub(ps(rs[a])), dt = character.position(rt[b]).sub(character.position(rt[a])).applyQuaternion(turn(ft));
      if (!(dt.lengthSq() > 0) || !Number.isFinite(dt.x)) { finite = false; return; }
      errors[i].push(ds.angleTo(dt) * 180 / Math.PI);
    });
  }
  let worstMean = 0, worstP99 = 0;
  for (const list of errors.filter((e) => e.length)) {
    list.sort((a, b) => a - b);
    worstMean = Math.max(worstMean, list.reduce((a, b) => a + b) / list.length);
    worstP99 = Math.max(worstP99, list[Math.floor(0.99 * (list.length - 1))]);
  }
  check(finite && worstMean <= 0.1 && worstP99 <= 0.5, `pair ${name}: limb directions mean ≤ ${worstMean.toFixed(3)}°, p99 ≤ ${worstP99.toFixed(3)}° (three.js reads both files)`);
  const ratio = answer.hipTravelRatio;
  check(Math.abs(ratio - 1) <= 0.01, `pair ${name}: hip travel ÷ leg length ratio ${ratio}`);
  const before = characterFile.endsWith('.fbx') ? {} : await verdict(path.join(corpus, 'characters', characterFile));
  const added = beyond(await verdict(out), before);
  check(added.length === 0, `pair ${name}: validator finds nothing the input did not have ${added.join(', ')}`);
}

// 1. Readers: joint positions of every frame of open clips. Source: three.js BVHLoader.
if (!haveCorpus) console.log('skip readers and pairs: no open corpus beside the project');
if (haveCorpus) {
  const clips = fs.readdirSync(path.join(corpus, 'motion')).filter((f) => f.endsWith('.bvh')).sort();
  for (const file of clips) await attempt(`reader ${file}`, async () => {
    const csv = path.join(work, file + '.positions.csv');
    execFileSync(path.join(bin, 'understudy-positions'), [path.join(corpus, 'motion', file), csv]);
    const ours = loadCsv(csv), theirs = loadBvh(path.join(corpus, 'motion', file));
    let worst = 0, size = 0, compared = 0;
    for (const [frame, joints] of ours) {
      theirs.at((frame - 1) * theirs.frameTime);
      for (const [joint, [x, y, z]] of joints) {
        const p = theirs.position(joint);
        if (!p) continue;
        worst = Math.max(worst, Math.hypot(p.x - x, p.y - y, p.z - z));
        size = Math.max(size, Math.abs(y));
        ++compared;
      }
    }
    check(compared > 0 && worst <= 1e-4 * Math.max(size, 1), `reader ${file}: ${compared} joint positions on ${ours.size} frames, worst ${worst.toExponential(2)} units (three.js BVHLoader)`);
  });

  // 2. Writer: an independent loader shows the joints where our own table says. Source: three.js GLTFLoader.
  for (const file of ['KayKit_Knight.glb', 'CesiumMan.gltf', 'RobotExpressive.glb']) await attempt(`writer ${file}`, async () => {
    const performer = path.join(corpus, 'motion', 'gait_fullbody_walk.bvh'), character = path.join(corpus, 'characters', file);
    const glb = path.join(work, 'writer_' + resultName(file)), csv = glb + '.csv';
    run('retarget', '--performer', performer, '--character', character, '--out', glb);
    run('retarget', '--performer', performer, '--character', character, '--out', csv);
    const table = loadCsv(csv), loaded = await loadGltf(glb);
    let worst = 0, height = 0, compared = 0;
    for (const [frame, joints] of table) {
      loaded.at((frame - 1) / 100);
      for (const [joint, [x, y, z]] of joints) {
        const p = loaded.position(joint);
        if (!p) continue;
        worst = Math.max(worst, Math.hypot(p.x - x, p.y - y, p.z - z));
        height = Math.max(height, y);
        ++compared;
      }
    }
    check(compared > 1000 && worst <= 1e-4 * height, `writer ${file}: ${compared} joint positions, worst ${(worst * 1000).toFixed(4)} mm (three.js GLTFLoader)`);
    const before = gltfParts(character), after = gltfParts(glb);
    const original = before.bin ?? Buffer.from(before.json.buffers[0].uri.split(',')[1], 'base64');
    const kept = after.bin ?? Buffer.from(after.json.buffers[0].uri.split(',')[1], 'base64');
    check(kept.subarray(0, original.length).equals(original), `writer ${file}: the ${original.length} original buffer bytes are untouched`);
  });

  // 3. Every performer on every character, with the automatic map.
  for (const file of clips)
    for (const character of ['CesiumMan.gltf', 'KayKit_Knight.glb', 'RobotExpressive.glb', 'Quaternius_Alien.fbx'])
      await attempt(`pair ${file} on ${character}`, () => pair(file, character));
}

// 4. The demo.
await attempt('demo', async () => {
  const keeper = path.join(project, 'samples', 'keeper.glb'), out = path.join(work, 'keeper_sweep.glb');
  run('retarget', '--performer', path.join(project, 'samples', 'sweep.bvh'), '--character', keeper, '--out', out);
  const before = await verdict(keeper), after = await verdict(out);
  check(Object.keys(before).length === 0, `demo: the character has no validator error or warning ${JSON.stringify(before)}`);
  check(Object.keys(after).length === 0, `demo: the result has no validator error or warning ${JSON.stringify(after)}`);
});
console.log('outside: finished');
