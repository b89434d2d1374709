#include "render/stage.h"

namespace understudy {

Colour colourOf(std::uint32_t rgb, float alpha) {
  const auto part = [rgb](int shift) { return static_cast<float>((rgb >> shift) & 0xffu) / 255.0f; };
  return {part(16), part(8), part(0), alpha};
}

Colour withAlpha(Colour colour, float alpha) {
  colour.a = alpha;
  return colour;
}

StagePalette stagePalette(Theme theme) {
  StagePalette p;
  // Severity: Okabe and Ito, "Color universal design" (2008): vermilion and reddish purple.
  p.flaw = colourOf(0xd55e00);
  p.warning = colourOf(0xcc79a7);
  if (theme == Theme::dark) {
    p.skyTop = colourOf(0x18242d);
    p.skyHorizon = colourOf(0x2b414e);
    p.ground = colourOf(0x1c2b35);
    p.gridFine = colourOf(0x22333e);
    p.gridMetre = colourOf(0x304858);
    p.gridAxis = colourOf(0x4a6d81);
    p.text = colourOf(0x9fb4c0);
    p.performer = colourOf(0x8fb8cc);
    p.character = colourOf(0xf5e6b8);
    p.prop = colourOf(0x4fa3b8);
    p.selection = colourOf(0xfff6dc);
    p.selectionEdge = colourOf(0x0d151b);
    p.hover = colourOf(0xd9edf5);
    p.next = colourOf(0xf5df85);
    p.clay = colourOf(0xb9b2a6);
  } else {
    p.skyTop = colourOf(0xd3dfe3);
    p.skyHorizon = colourOf(0xf1f2ec);
    p.ground = colourOf(0xdfe3df);
    p.gridFine = colourOf(0xd0d7d6);
    p.gridMetre = colourOf(0xb0bdc0);
    p.gridAxis = colourOf(0x7f97a1);
    p.text = colourOf(0x465a65);
    p.performer = colourOf(0x2c6f90);
    p.character = colourOf(0x8a6412);
    p.prop = colourOf(0x1b7a90);
    p.selection = colourOf(0xfffdf4);
    p.selectionEdge = colourOf(0x1a2a34);
    p.hover = colourOf(0x123c52);
    p.next = colourOf(0xe0b93a);
    p.clay = colourOf(0xc4beb3);
  }
  return p;
}

}  // namespace understudy
