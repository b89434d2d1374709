// What every layer of repairs must keep, checked on any of them. Each check gives "" or says what is wrong, with the seed.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "core/repair/layer.h"

namespace understudy::test {

/// A character and a motion on it, ready for repairs.
struct Stand {
  std::shared_ptr<const RepairContext> context;
  TiledMotion motion;
};

/// The stick character of fixtures.h, onto which a walk with swinging arms was carried; `seed` roughens the motion of every role
/// a little (1° and 2 mm, smooth within 5 frames), 0: not. Throws where something cannot be read.
[[nodiscard]] Stand walkingStick(int frames = 200, unsigned seed = 1);
/// The same for any figure with a map: a made-up motion in which every role's joint swings by up to `degrees` and the hips travel.
[[nodiscard]] Stand swinging(std::shared_ptr<const Figure> figure, std::shared_ptr<const BoneMap> map, int frames, double degrees, unsigned seed);

struct LayerRun {
  TiledMotion motion;
  std::vector<Residual> residuals;
};
/// The layer over all frames, or over these spans one after the other.
[[nodiscard]] LayerRun runLayer(const RepairLayer& layer, const TiledMotion& in);
[[nodiscard]] LayerRun runLayer(const RepairLayer& layer, const TiledMotion& in, const std::vector<FrameSpan>& spans);

/// First frame at which the bytes of two motions of one skeleton differ, −1 for none.
[[nodiscard]] int firstDifference(const TiledMotion& a, const TiledMotion& b);
[[nodiscard]] bool sameFrame(const TiledMotion& a, const TiledMotion& b, int frame);

/// Cuts the clip at random places and applies the layer to the pieces in random order, also frame by frame over a part and from two
/// threads: poses and residuals must have the bytes of one run over the whole.
[[nodiscard]] std::string splitsDiffer(const RepairLayer& layer, const TiledMotion& in, unsigned seed);
/// Frames outside the extents of all repairs and of the first `nudges` nudges must keep the input's bytes, and so must all joints that
/// `mayChange` denies (none given: any may).
[[nodiscard]] std::string touchesOutside(const RepairLayer& layer, const TiledMotion& in, std::size_t nudges = 0,
                                         const std::function<bool(int joint)>& mayChange = {});
/// Changes the input over random short spans: the output may differ only there and where affected() says.
[[nodiscard]] std::string reachesFurther(const RepairLayer& layer, const TiledMotion& in, unsigned seed);
/// Every rotation must be a unit quaternion and every translation finite.
[[nodiscard]] std::string notFinite(const TiledMotion& motion);

/// All of the above.
[[nodiscard]] std::string brokenPromises(const RepairLayer& layer, const TiledMotion& in, unsigned seed, std::size_t nudges = 0,
                                         const std::function<bool(int joint)>& mayChange = {});

}  // namespace understudy::test
