#include "core/repair/hand_shape.h"

#include <algorithm>

#include "core/repair/admit.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

/// Fingers of one hand that go to one pose over a repair's frames.
struct Shape {
  std::size_t index = 0;  ///< of the repair in its layer
  int hand = -1;
  std::vector<FingerTurn> turns;
  double weight = 1;
};

class HandLayer final : public RepairLayer {
 public:
  HandLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)) {
    const std::array<Hand, 2>& hands = handsOf(*context_);
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const GripRepair* grip = std::get_if<GripRepair>(&repairs_[i]->action);
      // What is wrong with a grip its own stage tells.
      if (!grip || !grip->anchored || frames_[i].span.empty()) continue;
      for (const bool lead : {true, false}) {
        const std::optional<HandleInPalm> handle = handleOf(*context_, *grip, lead);
        const Hand& hand = hands[(lead == grip->leadLeft) ? 0 : 1];
        if (!handle || hand.joint < 0 || hand.fingers.empty()) continue;
        Shape shape{i, hand.joint, {}, std::clamp(repairs_[i]->weight, 0.0, 1.0)};
        shape.turns = handPose(hand, HandPose::grip, *handle).turns;
        shapes_.push_back(std::move(shape));
      }
    }
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const HandShapeRepair* wanted = std::get_if<HandShapeRepair>(&repairs_[i]->action);
      if (!wanted || !admitted(*repairs_[i], frames_[i], *context_, issues)) continue;
      const std::optional<HandPose> pose = handShapeNamed(wanted->shape);
      if (!pose) {
        issues.push_back(makeWarning("'" + wanted->shape + "' is no shape of a hand", describe(*repairs_[i]), "Use relaxed, flat, fist, point, grip or own"));
        continue;
      }
      const Hand& hand = hands[wanted->left ? 0 : 1];
      if (hand.joint < 0 || hand.fingers.empty()) {
        issues.push_back(makeWarning(std::string("The character's ") + (wanted->left ? "left" : "right") + " hand has no fingers in the bone map",
                                     describe(*repairs_[i]), "Map its fingers, or remove the repair"));
        continue;
      }
      // A hand's usual handle is about a third of its palm thick.
      HandleInPalm handle{{0, 0, 0.17 * hand.width}, {0, 1, 0}, 0.17 * hand.width};
      for (std::size_t g = 0; g < repairs_.size(); ++g)
        if (const GripRepair* grip = std::get_if<GripRepair>(&repairs_[g]->action); grip && grip->anchored && !common(frames_[g].span, frames_[i].span).empty())
          if (const std::optional<HandleInPalm> held = handleOf(*context_, *grip, grip->leadLeft == wanted->left)) handle = *held;
      shapes_.push_back({i, hand.joint, handPose(hand, *pose, handle).turns,
                         std::clamp(repairs_[i]->weight, 0.0, 1.0) * std::clamp(wanted->amount, 0.0, 1.0)});
    }
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>&) const override {
    Poser poser(*context_);
    std::vector<Quatd> own;
    for (int f = frames.first; f <= frames.last; ++f) {
      bool loaded = false;
      for (const Shape& shape : shapes_) {
        const double w = shape.weight * spanWeight(frames_[shape.index], f);
        if (w <= 0) continue;
        if (!loaded) poser.load(in, f);
        loaded = true;
        const Quatd hand = poser.rotation(shape.hand);
        own.clear();
        for (const FingerTurn& t : shape.turns) own.push_back(conjugate(hand) * poser.rotation(t.joint));
        for (std::size_t k = 0; k < shape.turns.size(); ++k) poser.setRotation(shape.turns[k].joint, hand * slerp(own[k], shape.turns[k].turn, w));
      }
      if (loaded) poser.store(out, f);
    }
  }

 private:
  std::vector<Shape> shapes_;
};

}  // namespace

const std::vector<std::string>& handShapeNames() {
  static const std::vector<std::string> names{"relaxed", "flat", "fist", "point", "grip", "own"};
  return names;
}

std::optional<HandPose> handShapeNamed(const std::string& name) {
  const std::vector<std::string>& names = handShapeNames();
  const auto at = std::find(names.begin(), names.end(), name);
  if (at == names.end()) return std::nullopt;
  return static_cast<HandPose>(at - names.begin());
}

std::optional<HandleInPalm> handleOf(const RepairContext& context, const GripRepair& grip, bool lead) {
  if (grip.prop == 0 || (!lead && !grip.support)) return std::nullopt;
  const auto prop = std::find_if(context.props.begin(), context.props.end(), [&](const PropItem& p) { return p.id == grip.prop; });
  if (prop == context.props.end() || !(prop->radius > 0)) return std::nullopt;
  // The prop's own grip touches the handle's surface, its z points at the axis and its y runs along it.
  const Rigid own = rigidOf(lead ? prop->leadGrip : prop->supportGrip), palm = inverse(rigidOf(lead ? grip.leadGrip : grip.supportGrip));
  return HandleInPalm{apply(palm, apply(own, Vec3d{0, 0, prop->radius})), rotate(palm.turn, rotate(own.turn, Vec3d{0, 1, 0})), prop->radius};
}

RepairLayerPtr makeHandLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  return std::make_shared<HandLayer>(std::move(context), std::move(repairs), issues);
}

}  // namespace understudy
