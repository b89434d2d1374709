// GLSL 3.30 sources of the stage. Colours are lit in linear light and written as sRGB.
#pragma once

namespace understudy::shaders {

// Comes after "#version" and "#define INFLUENCES n" (0: positions are in the world already; 1, 4 or 8), because software
// drivers run loops and both sides of a branch in full. Four texels a palette entry: three rows of the matrix, then
// (highlight, 0, 0, 0).
inline constexpr const char* meshVertex = R"(
layout(location = 0) in vec3 position;
layout(location = 1) in vec3 normal;
layout(location = 2) in vec2 texcoord;
layout(location = 3) in vec4 colour;
layout(location = 4) in uvec4 entriesA;
layout(location = 5) in uvec4 entriesB;
layout(location = 6) in vec4 weightsA;
layout(location = 7) in vec4 weightsB;
uniform mat4 clipFromWorld;
uniform samplerBuffer palette;
uniform int firstEntry;
out vec3 worldPosition;
out vec3 worldNormal;
out vec2 uv;
out vec4 tint;
out float highlight;
vec4 r0 = vec4(0.0), r1 = vec4(0.0), r2 = vec4(0.0);
void blend(uint entry, float w) {
  int at = (firstEntry + int(entry)) * 4;
  r0 += w * texelFetch(palette, at);
  r1 += w * texelFetch(palette, at + 1);
  r2 += w * texelFetch(palette, at + 2);
#ifdef LIT
  highlight += w * texelFetch(palette, at + 3).x;
#endif
}
void main() {
  highlight = 0.0;
#if INFLUENCES == 0
  worldPosition = position;
  worldNormal = normal;
#else
  blend(entriesA.x, weightsA.x);
#if INFLUENCES > 1
  blend(entriesA.y, weightsA.y);
  blend(entriesA.z, weightsA.z);
  blend(entriesA.w, weightsA.w);
#endif
#if INFLUENCES > 4
  blend(entriesB.x, weightsB.x);
  blend(entriesB.y, weightsB.y);
  blend(entriesB.z, weightsB.z);
  blend(entriesB.w, weightsB.w);
#endif
  vec4 p = vec4(position, 1.0);
  worldPosition = vec3(dot(r0, p), dot(r1, p), dot(r2, p));
  worldNormal = vec3(dot(r0.xyz, normal), dot(r1.xyz, normal), dot(r2.xyz, normal));
#endif
  uv = texcoord;
  tint = colour;
  gl_Position = clipFromWorld * vec4(worldPosition, 1.0);
}
)";

inline constexpr const char* meshFragment = R"(#version 330 core
in vec3 worldPosition;
in vec3 worldNormal;
in vec2 uv;
in vec4 tint;
in float highlight;
uniform vec3 eye;
uniform vec3 towardsEye;      // used where eyeIsDirection is 1
uniform int eyeIsDirection;
uniform vec4 baseColour;
uniform vec4 replaced;        // linear colour that replaces the mesh's own; a: how far
uniform sampler2D image;
uniform int hasImage;
uniform float alphaCutoff;
uniform float alpha;
uniform int doubleSided;
uniform vec3 keyDirection, keyColour, rimColour, skyLight, groundLight, highlightColour;
uniform float groundHeight;
out vec4 result;
vec3 toSrgb(vec3 c) {
  // Roots instead of a power: within 0.4/255 of IEC 61966-2-1 above 0.005, up to 7/255 too light in blacker blacks.
  vec3 s1 = sqrt(max(c, vec3(0.0))), s2 = sqrt(s1), s3 = sqrt(s2);
  return 0.585122381 * s1 + 0.783140355 * s2 - 0.368262736 * s3;
}
void main() {
  vec4 base = baseColour * tint;
  if (hasImage == 1) base *= texture(image, uv);
  if (base.a < alphaCutoff) discard;
  vec3 albedo = mix(base.rgb, replaced.rgb, replaced.a);
  vec3 n = normalize(worldNormal);
  vec3 v = eyeIsDirection == 1 ? towardsEye : normalize(eye - worldPosition);
  if (doubleSided == 1 && dot(n, v) < 0.0) n = -n;
  // Hemisphere: sky from above, the floor's light from below; a little darker close to the floor.
  vec3 ambient = mix(groundLight, skyLight, 0.5 + 0.5 * n.y);
  ambient *= 0.72 + 0.28 * clamp((worldPosition.y - groundHeight) * 2.2, 0.0, 1.0);
  float wrapped = clamp((dot(n, keyDirection) + 0.28) / 1.28, 0.0, 1.0);
  vec3 key = keyColour * wrapped * wrapped * (3.0 - 2.0 * wrapped);
  vec3 halfway = normalize(keyDirection + v);
  float shine = max(dot(n, halfway), 0.0);
  shine *= shine; shine *= shine; shine *= shine; shine *= shine;
  float facing = clamp(1.0 - max(dot(n, v), 0.0), 0.0, 1.0);
  float edge = facing * facing * facing;
  vec3 light = albedo * (ambient + key) + keyColour * shine * 0.06 + rimColour * edge * (0.25 + 0.75 * clamp(n.y * 0.6 + 0.4, 0.0, 1.0)) * (albedo * 0.7 + 0.3);
  light = mix(light, highlightColour, clamp(highlight, 0.0, 1.0) * (0.16 + 0.5 * edge));
  // Soft shoulder: linear up to 0.6, then bending towards 1 (a rational curve with matching slope).
  vec3 over = max(light - 0.6, vec3(0.0));
  light = min(light, vec3(0.6)) + over / (1.0 + over * 2.5);
  result = vec4(toSrgb(light), alpha);
}
)";

inline constexpr const char* skyVertex = R"(#version 330 core
out vec2 at;
void main() {
  at = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);
  gl_Position = vec4(at, 0.999999, 1.0);
}
)";

inline constexpr const char* skyFragment = R"(#version 330 core
in vec2 at;
uniform vec4 top, horizon;     // display colours
uniform float horizonAt, span; // normalised device y of the horizon, and of the way up from it
out vec4 result;
void main() {
  float t = clamp((at.y - horizonAt) / span, 0.0, 1.0);
  t = t * (2.0 - t);
  // Half a step of noise against banding.
  float noise = fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715)))) - 0.5;
  result = mix(horizon, top, t) + noise / 255.0;
}
)";

// The ground mixes itself with the sky behind it: one pass, no blending. Software drivers pay for every texel read, so the
// figures' shadow is a small sheet of its own over it.
inline constexpr const char* groundVertex = R"(#version 330 core
uniform mat4 clipFromWorld;
uniform vec3 origin, axisU, axisV;   // the plane; U and V are metres
uniform vec2 middle;                 // where it is centred, in (u, v)
uniform float reach;
out vec2 at;
void main() {
  vec2 corner = vec2((gl_VertexID & 1) * 2 - 1, (gl_VertexID & 2) - 1);
  at = middle + corner * reach;
  gl_Position = clipFromWorld * vec4(origin + axisU * at.x + axisV * at.y, 1.0);
}
)";

// Comes before the fragment shaders of what lies on the ground: how much of it is seen at a place (x, z), less towards its edge.
inline constexpr const char* groundFade = R"(#version 330 core
uniform vec2 middle;
uniform float reach;
float groundFade(vec2 place) {
  vec2 away = (place - middle) / reach;
  float d = clamp((dot(away, away) - 0.015) * 1.25, 0.0, 1.0);
  return (1.0 - d) * (1.0 - d);
}
)";

inline constexpr const char* groundFragment = R"(
in vec2 at;
uniform vec2 size;
uniform float pixel;
uniform vec4 ground, fine, metre, axis;  // display colours
uniform vec4 top, horizon;
uniform float horizonAt, span;
uniform int grid;
uniform float strength;
out vec4 result;
void main() {
  float fade = groundFade(at) * strength;
  vec3 c = ground.rgb;
  if (grid == 1) {
    vec2 w = max(fwidth(at), vec2(1e-5));
    vec2 perPixel = 1.0 / w;
    vec2 halves = abs(fract(at * 2.0 + 0.5) - 0.5) * 0.5;
    vec2 ones = abs(fract(at + 0.5) - 0.5);
    // Lines closer than a few pixels melt into the ground.
    vec2 f = clamp(0.5 * pixel + 0.5 - halves * perPixel, 0.0, 1.0) * clamp(1.3 - w * 5.0, 0.0, 1.0);
    vec2 m = clamp(0.55 * pixel + 0.5 - ones * perPixel, 0.0, 1.0) * clamp(1.3 - w * 2.5, 0.0, 1.0);
    vec2 o = clamp(0.75 * pixel + 0.5 - abs(at) * perPixel, 0.0, 1.0);
    c = mix(c, fine.rgb, max(f.x, f.y));
    c = mix(c, metre.rgb, max(m.x, m.y));
    c = mix(c, axis.rgb, max(o.x, o.y));
  }
  float t = clamp((gl_FragCoord.y / size.y * 2.0 - 1.0 - horizonAt) / span, 0.0, 1.0);
  vec3 sky = mix(horizon.rgb, top.rgb, t * (2.0 - t));
  float noise = fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715)))) - 0.5;
  result = vec4(mix(sky, c, fade) + noise / 255.0, 1.0);
}
)";

inline constexpr const char* shadowVertex = R"(#version 330 core
uniform mat4 clipFromWorld;
uniform vec4 area;                   // low corner and size, metres
uniform float height;
out vec2 at, texel;
void main() {
  texel = vec2(float(gl_VertexID & 1), float((gl_VertexID >> 1) & 1));
  at = area.xy + texel * area.zw;
  gl_Position = clipFromWorld * vec4(at.x, height, at.y, 1.0);
  // A hair nearer than the ground it lies on.
  gl_Position.z -= 1e-5 * gl_Position.w;
}
)";

inline constexpr const char* shadowFragment = R"(
in vec2 at, texel;
uniform sampler2D shadow;
uniform vec4 shadowColour;
out vec4 result;
void main() {
  result = vec4(shadowColour.rgb, shadowColour.a * groundFade(at) * texture(shadow, texel).r);
}
)";

// Every mark is a tapered stroke in the picture plane: from a to b (pixels, y down), with a radius at each end.
inline constexpr const char* strokeVertex = R"(#version 330 core
layout(location = 0) in vec4 ends;    // a, b
layout(location = 1) in vec4 shape;   // radius a, radius b, depth a, depth b (normalised device)
layout(location = 2) in vec4 colour;
layout(location = 3) in vec2 look;    // ring half width (0: filled), dash length (0: solid)
uniform vec2 size;
out vec2 pixel;
flat out vec4 strokeEnds;
flat out vec4 strokeColour;
flat out vec4 strokeShape;
void main() {
  vec2 d = ends.zw - ends.xy;
  float l = length(d);
  vec2 along = l > 1e-4 ? d / l : vec2(1.0, 0.0);
  vec2 across = vec2(-along.y, along.x);
  float r = max(shape.x, shape.y) + look.x + 1.0;
  bool far = (gl_VertexID & 1) == 1;
  float side = (gl_VertexID & 2) == 2 ? 1.0 : -1.0;
  pixel = (far ? ends.zw + along * r : ends.xy - along * r) + across * side * r;
  strokeEnds = ends;
  strokeColour = colour;
  strokeShape = vec4(shape.xy, look);
  gl_Position = vec4(pixel.x / size.x * 2.0 - 1.0, 1.0 - pixel.y / size.y * 2.0, far ? shape.w : shape.z, 1.0);
}
)";

inline constexpr const char* strokeFragment = R"(#version 330 core
in vec2 pixel;
flat in vec4 strokeEnds;
flat in vec4 strokeColour;
flat in vec4 strokeShape;
out vec4 result;
void main() {
  vec2 d = strokeEnds.zw - strokeEnds.xy, p = pixel - strokeEnds.xy;
  float squared = dot(d, d);
  float t = squared > 1e-6 ? clamp(dot(p, d) / squared, 0.0, 1.0) : 0.0;
  float outside = length(p - d * t) - mix(strokeShape.x, strokeShape.y, t);
  if (strokeShape.z > 0.0) outside = abs(outside) - strokeShape.z;
  float a = clamp(0.5 - outside, 0.0, 1.0);
  if (strokeShape.w > 0.0 && fract(t * sqrt(squared) / strokeShape.w) > 0.58) a = 0.0;
  if (a <= 0.004) discard;
  result = vec4(strokeColour.rgb, strokeColour.a * a);
}
)";

}  // namespace understudy::shaders
