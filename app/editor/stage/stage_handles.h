// What of the selected repair or bone can be taken hold of in the stage, and what dragging it writes. No drawing.
#pragma once

#include <optional>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/stage/turn_handle.h"

namespace understudy::editor {

enum class HandleKind { plantPlace, plantHeight, touchPlace, gripLead, gripSupport, limb, limbAxis };

/// Places are in the repairs' world (metres, the character where it is evaluated, not where the stage shows it).
struct StageHandle {
  HandleKind kind = HandleKind::limb;
  Vec3d at;
  int joint = -1;  ///< of a limb
  Vec3d axis{};    ///< unit: it moves along this only; zero: freely
  int number = -1; ///< of the axis, 0 … 2
  Vec3d tip{};     ///< where an arrow is taken hold of
};
/// Arrows along three axes from a limb's handle, `length` metres long; none for other handles.
[[nodiscard]] std::vector<StageHandle> arrowsOf(const StageHandle& limb, const Quatd& axes, double length);

/// Handles of the selected repair at the current frame, and of the selected hand, foot, elbow, knee or hips.
[[nodiscard]] std::vector<StageHandle> handlesOf(const Document& document, const Session& session);
[[nodiscard]] QString handleText(HandleKind kind);

/// A handle under the mouse. `shift` takes the repairs' world to where the stage shows it.
class HandleDrag {
 public:
  HandleDrag(Document& document, Session& session, StageHandle handle, const Sight& sight, const Vec3d& shift, double x, double y, int number);
  /// Writes what the mouse at a point makes of it; one step of undo with all others of this drag.
  /// `step` > 0: in whole steps of so many metres along the stage's axes, or the handle's own.
  void moveTo(double x, double y, double step = 0);
  /// The same by a way instead of the mouse.
  void moveBy(const Vec3d& by);
  [[nodiscard]] const StageHandle& handle() const { return handle_; }
  /// Where it is now, and how far a limb stays from it (metres).
  [[nodiscard]] Vec3d at() const { return now_; }
  [[nodiscard]] double miss() const { return miss_; }

 private:
  [[nodiscard]] Vec3d placeAt(double x, double y) const;
  void writeRepair(const Vec3d& place);
  void writeNudge(const Vec3d& place);

  Document& document_;
  Session& session_;
  StageHandle handle_;
  Sight sight_;
  Vec3d shift_, grabbed_, now_;
  QString key_;
  std::optional<Repair> base_;
  std::shared_ptr<const Evaluated> seen_;  ///< as it was when the drag began
  int frame_ = 0;                          ///< of the untrimmed clip
  std::uint64_t nudge_ = 0;
  double miss_ = 0;
};

/// Points of planted soles that carry at a frame of the evaluated take, on the ground, in the repairs' world.
struct SoleMark {
  Vec3d at;
  bool down = false;  ///< within 2 mm (of a character 1.7 m tall) of the plant's ground
};
[[nodiscard]] std::vector<SoleMark> soleMarks(const Document& document, const Evaluated& evaluated, int frame);

}  // namespace understudy::editor
