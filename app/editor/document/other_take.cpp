#include "app/editor/document/other_take.h"

#include <algorithm>
#include <cmath>

namespace understudy::editor {

OtherTake::OtherTake(Document& document, QObject* parent) : QObject(parent), document_(document), cache_(std::make_shared<EvaluationCache>()) {
  connect(&document, &Document::takeChanged, this, &OtherTake::follow);
}

void OtherTake::want(bool wanted) {
  if (wanted == wanted_) return;
  wanted_ = wanted;
  follow();
}

void OtherTake::choose(int index) {
  const int takes = static_cast<int>(document_.reel().takes.size());
  if (index < 0 || index >= takes || index == document_.reel().current) return;
  index_ = index;
  follow();
  Q_EMIT changed();
}

const Take* OtherTake::take() const {
  const auto& takes = document_.reel().takes;
  return index_ >= 0 && index_ < static_cast<int>(takes.size()) ? &*takes[static_cast<std::size_t>(index_)] : nullptr;
}

int OtherTake::frameAt(int frame, double hertz) const {
  if (!evaluated_ || evaluated_->frames < 1) return 0;
  const double seconds = hertz > 0 ? frame / hertz : 0;
  return std::clamp(static_cast<int>(std::lround(seconds * evaluated_->rate.hertz())), 0, evaluated_->frames - 1);
}

void OtherTake::follow() {
  const Reel& reel = document_.reel();
  const int takes = static_cast<int>(reel.takes.size());
  // Who was worked on until now is the one to look at; else the take before.
  if (index_ == reel.current && current_ != reel.current) index_ = current_;
  if (index_ >= takes || index_ == reel.current || index_ < 0) index_ = takes < 2 ? -1 : reel.current > 0 ? reel.current - 1 : 1;
  current_ = reel.current;
  const Take* other = take();
  if (!wanted_ || !other) {
    if (!other && evaluated_) {
      evaluated_.reset();
      shown_ = {};
      Q_EMIT changed();
    }
    return;
  }
  if (*other == shown_) return;
  shown_ = *other;
  // Figures that are loaded already are shared.
  const LoadedFigure* known = document_.known(*other->character);
  const LoadedFigure* performer = document_.known(*other->performer);
  lane_.post(tr("Evaluating the other take"),
             [this, snapshot = *other, character = known ? *known : LoadedFigure{}, performer = performer ? performer->figure : nullptr, cache = cache_](const RunControl& control) mutable -> JobLane::Answer {
    const auto made = [&]() -> Result<std::shared_ptr<const Evaluated>> {
      if (!character.figure) {
        auto read = loadFigure(*snapshot.character, control);
        if (!read) return read.error();
        character = std::move(read).value();
      }
      if (!performer) {
        auto read = readReference(*snapshot.performer, control);
        if (!read) return read.error();
        performer = std::move(read).value();
      }
      const Sources sources{performer, character.figure, {}, {}};
      Take fitted = snapshot;
      if (std::any_of(fitted.repairs->begin(), fitted.repairs->end(), [](const auto& r) { return !isAnchored(*r); }))
        if (auto with = refitted(fitted, sources, cache.get(), nullptr, control)) fitted = std::move(with).value();
      auto result = understudy::evaluate(fitted, sources, cache.get(), control);
      if (!result) return result.error();
      return std::make_shared<const Evaluated>(std::move(result).value());
    }();
    return [this, made, character = std::move(character), snapshot = std::move(snapshot)] {
      if (!(snapshot == shown_)) return;
      evaluated_ = made ? made.value() : nullptr;
      character_ = character;
      if (!made) document_.tell(made.error());
      Q_EMIT changed();
    };
  }, true);
}

}  // namespace understudy::editor
