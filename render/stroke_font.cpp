#include "render/stroke_font.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace understudy {
namespace {

// Drawn on a grid 6 to the capital height. A glyph is its width and its runs, separated by spaces. A run is a letter
// and pairs of digits x y (y from −2: 'a' is −2, 'b' −1): L straight, S smooth through the points, O smooth and closed.
struct Glyph {
  std::uint32_t code;
  int width;
  const char* runs;
};

constexpr Glyph glyphs[] = {
    {' ', 2, ""},
    {'!', 1, "L0602 L0000"},
    {'"', 2, "L0604 L2604"},
    {'#', 4, "L1016 L3036 L0242 L0444"},
    {'$', 4, "S4535160514334241301001 L2721"},
    {'%', 5, "L0046 O061615050616 O304041313040"},
    {'&', 4, "S4002152636240201103042"},
    {'\'', 1, "L0604"},
    {'(', 2, "S270502001b"},
    {')', 2, "S072522201b"},
    {'*', 3, "L1513 L0422 L0224"},
    {'+', 4, "L0343 L2125"},
    {',', 1, "L010b"},
    {'-', 3, "L0232"},
    {'.', 1, "L0000"},
    {'/', 3, "L0b37"},
    {'0', 4, "O264541200105"},
    {'1', 2, "L051620 "},
    {'2', 4, "S05163645422100 L0040"},
    {'3', 4, "S0516364534231 S2343423010001"},
    {'4', 4, "L3036014141"},
    {'5', 4, "L46060323 S033343423010001"},
    {'6', 4, "S453616030110304142331302"},
    {'7', 4, "L064610"},
    {'8', 4, "O26354423040516 O234130100213"},
    {'9', 4, "S011030434536160504133344"},
    {':', 1, "L0000 L0404"},
    {';', 1, "L010b L0404"},
    {'<', 3, "L350231"},
    {'=', 4, "L0242 L0444"},
    {'>', 3, "L053201"},
    {'?', 3, "S0516263534231312 L1000"},
    {'@', 5, "O341312323443 S4452535545150402113050"},
    {'A', 4, "L002640 L0232"},
    {'B', 4, "L0006 L0626 S26354423 L2303 L2333 S23424120 L2000"},
    {'C', 4, "S4535160402103041"},
    {'D', 4, "L0006 L0616 S163644423010 L1000"},
    {'E', 3, "L36060030 L0323"},
    {'F', 3, "L360600 L0323"},
    {'G', 4, "S453516040210304 L434323 L4340"},
    {'H', 4, "L0600 L4640 L0343"},
    {'I', 0, "L0006"},
    {'J', 3, "L3632 S3231200001"},
    {'K', 4, "L0600 L4602 L1340"},
    {'L', 3, "L060030"},
    {'M', 5, "L0006225650"},
    {'N', 4, "L00064046"},
    {'O', 5, "O2636545230200204"},
    {'P', 4, "L0006 L0626 S26354423 L2303"},
    {'Q', 5, "O2636545230200204 L3250"},
    {'R', 4, "L0006 L0626 S26354423 L2303 L2340"},
    {'S', 4, "S4535160514334241301001"},
    {'T', 4, "L0646 L2620"},
    {'U', 4, "L0602 S0202103042 L4246"},
    {'V', 4, "L062046"},
    {'W', 6, "L0610355066"},
    {'X', 4, "L0640 L0046"},
    {'Y', 4, "L0623 L4623 L2320"},
    {'Z', 4, "L06460040"},
    {'[', 2, "L27070b2b"},
    {'\\', 3, "L073b"},
    {']', 2, "L07272b0b"},
    {'^', 3, "L041634"},
    {'_', 4, "L0b4b"},
    {'`', 2, "L0615"},
    {'a', 3, "S031424333 L3330 O320301102"},
    {'b', 3, "L0600 O021334321001"},
    {'c', 3, "S332414030110203"},
    {'d', 3, "L3630 O321403011031"},
    {'e', 3, "L0232 S323324140301102031"},
    {'f', 3, "S36261514 L1410 L0434"},
    {'g', 3, "L3430 S303b2a1a0b O321403011031"},
    {'h', 3, "L0600 S021424332 L3330"},
    {'i', 0, "L0400 L0606"},
    {'j', 1, "L1410 S101b0a L1616"},
    {'k', 3, "L0600 L3401 L1230"},
    {'l', 1, "L0601 S010010"},
    {'m', 4, "L0400 S03142322 L2320 S23344342 L4340"},
    {'n', 3, "L0400 S021424333 L3330"},
    {'o', 3, "O243331201002031"},
    {'p', 3, "L040a O021334321001"},
    {'q', 3, "L343a O321403011031"},
    {'r', 2, "L0400 S02031424"},
    {'s', 3, "S332414031222312010001"},
    {'t', 3, "L1611 S11112030 L0434"},
    {'u', 3, "L0401 S01102031 L3430"},
    {'v', 3, "L041034"},
    {'w', 4, "L0410243044"},
    {'x', 3, "L0430 L0034"},
    {'y', 3, "L0410 L341a0a"},
    {'z', 3, "L04340030"},
    {'{', 3, "S2717140313101b2b"},
    {'|', 0, "L070b"},
    {'}', 3, "S0717143313101b0b"},
    {'~', 4, "S021322313243"},
    {0x2013, 4, "L0343"},   // –
    {0x00b7, 1, "L0303"},   // ·
    {0x00b0, 2, "O16250405"},  // °
};

const Glyph& boxGlyph() {
  static constexpr Glyph box{0, 4, "L0006464000"};
  return box;
}

const Glyph& glyphOf(std::uint32_t code) {
  for (const Glyph& glyph : glyphs) {
    if (glyph.code == code) return glyph;
  }
  return boxGlyph();
}

/// Next code point of UTF-8; broken bytes give U+FFFD.
std::uint32_t nextCode(std::string_view text, std::size_t& at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char first = byte(at++);
  if (first < 0x80) return first;
  const int more = first >= 0xf0 ? 3 : first >= 0xe0 ? 2 : first >= 0xc0 ? 1 : 0;
  std::uint32_t code = more == 3 ? first & 0x07u : more == 2 ? first & 0x0fu : first & 0x1fu;
  for (int i = 0; i < more; ++i) {
    if (at >= text.size() || (byte(at) & 0xc0) != 0x80) return 0xfffd;
    code = (code << 6) | (byte(at++) & 0x3fu);
  }
  return more ? code : 0xfffd;
}

/// Catmull–Rom curve through the points.
StrokeLine smooth(const StrokeLine& points, bool closed) {
  const int n = static_cast<int>(points.size());
  if (n < 3) return points;
  const auto at = [&](int i) -> Vec2f { return closed ? points[(i + n) % n] : points[i < 0 ? 0 : i >= n ? n - 1 : i]; };
  StrokeLine out;
  constexpr int steps = 5;
  for (int i = 0; i < (closed ? n : n - 1); ++i) {
    const Vec2f a = at(i - 1), b = at(i), c = at(i + 1), d = at(i + 2);
    for (int s = 0; s < steps; ++s) {
      const float t = static_cast<float>(s) / steps, t2 = t * t, t3 = t2 * t;
      const float wa = -0.5f * t3 + t2 - 0.5f * t, wb = 1.5f * t3 - 2.5f * t2 + 1, wc = -1.5f * t3 + 2 * t2 + 0.5f * t, wd = 0.5f * t3 - 0.5f * t2;
      out.push_back({a.x * wa + b.x * wb + c.x * wc + d.x * wd, a.y * wa + b.y * wb + c.y * wc + d.y * wd});
    }
  }
  out.push_back(at(closed ? 0 : n - 1));
  return out;
}

constexpr float unit = 1.0f / 6, gap = 1.6f;

void addGlyph(const Glyph& glyph, float x, std::vector<StrokeLine>& out) {
  const char* p = glyph.runs;
  while (*p) {
    while (*p == ' ') ++p;
    if (!*p) break;
    const char kind = *p++;
    StrokeLine line;
    const auto value = [](char c) { return c >= 'a' ? static_cast<float>(c - 'a' - 2) : static_cast<float>(c - '0'); };
    while (*p && *p != ' ' && p[1] && p[1] != ' ') {
      line.push_back({(x + value(p[0])) * unit, value(p[1]) * unit});
      p += 2;
    }
    while (*p && *p != ' ') ++p;
    if (line.empty()) continue;
    if (kind == 'L' && line.size() == 2 && line[0] == line[1]) line.pop_back();
    out.push_back(kind == 'L' ? line : smooth(line, kind == 'O'));
  }
}

}  // namespace

std::vector<StrokeLine> strokeText(std::string_view text) {
  std::vector<StrokeLine> out;
  float x = 0;
  for (std::size_t at = 0; at < text.size();) {
    const Glyph& glyph = glyphOf(nextCode(text, at));
    addGlyph(glyph, x, out);
    x += static_cast<float>(glyph.width) + gap;
  }
  return out;
}

float strokeTextWidth(std::string_view text) {
  float x = 0;
  for (std::size_t at = 0; at < text.size();) x += static_cast<float>(glyphOf(nextCode(text, at)).width) + gap;
  return text.empty() ? 0 : (x - gap) * unit;
}

void writeText(Picture& picture, float x, float y, float size, float weight, const Colour& colour, std::string_view text) {
  const float r = weight / 2;
  // One coverage raster for the whole text, so that strokes which cross do not darken twice.
  const int x0 = std::max(0, static_cast<int>(x - r - 1)), x1 = std::min(picture.width - 1, static_cast<int>(x + strokeTextWidth(text) * size + r + 2));
  const int y0 = std::max(0, static_cast<int>(y - size * 1.3f - r - 1)), y1 = std::min(picture.height - 1, static_cast<int>(y + size * 0.45f + r + 2));
  if (x1 < x0 || y1 < y0) return;
  const int width = x1 - x0 + 1;
  std::vector<float> coverage(static_cast<std::size_t>(width) * (y1 - y0 + 1));
  for (const StrokeLine& run : strokeText(text)) {
    for (std::size_t i = 0; i + 1 < run.size() || i == 0; ++i) {
      const Vec2f to = run[std::min(i + 1, run.size() - 1)];
      const float ax = x + run[i].x * size, ay = y - run[i].y * size, bx = x + to.x * size, by = y - to.y * size;
      const float dx = bx - ax, dy = by - ay, squared = dx * dx + dy * dy;
      const int left = std::max(x0, static_cast<int>(std::min(ax, bx) - r - 1)), right = std::min(x1, static_cast<int>(std::max(ax, bx) + r + 2));
      const int top = std::max(y0, static_cast<int>(std::min(ay, by) - r - 1)), bottom = std::min(y1, static_cast<int>(std::max(ay, by) + r + 2));
      for (int py = top; py <= bottom; ++py) {
        for (int px = left; px <= right; ++px) {
          const float qx = static_cast<float>(px) + 0.5f - ax, qy = static_cast<float>(py) + 0.5f - ay;
          const float t = squared > 1e-6f ? std::clamp((qx * dx + qy * dy) / squared, 0.0f, 1.0f) : 0.0f;
          const float a = std::clamp(r + 0.5f - std::hypot(qx - t * dx, qy - t * dy), 0.0f, 1.0f);
          float& c = coverage[static_cast<std::size_t>(py - y0) * width + (px - x0)];
          c = std::max(c, a);
        }
      }
    }
  }
  for (int py = y0; py <= y1; ++py) {
    for (int px = x0; px <= x1; ++px) {
      const float a = coverage[static_cast<std::size_t>(py - y0) * width + (px - x0)] * colour.a;
      if (a <= 0) continue;
      std::uint8_t* p = picture.at(px, py);
      const float rgb[3] = {colour.r, colour.g, colour.b};
      for (int k = 0; k < 3; ++k) p[k] = static_cast<std::uint8_t>(std::lround(static_cast<float>(p[k]) * (1 - a) + rgb[k] * 255.0f * a));
      p[3] = 255;
    }
  }
}

}  // namespace understudy
