#include "core/mapping/name_rules.h"

#include <algorithm>
#include <string>

namespace understudy {
namespace {

// The words that names are built of. Sides stand apart because one letter may be glued to a word.
constexpr std::string_view leftWords[] = {"left", "l", "lft", "lf", "lt", "port", "links", "gauche", "izquierda", "izq", "sinistra"};
constexpr std::string_view rightWords[] = {"right", "r", "rgt", "rt", "starboard", "rechts", "droite", "derecha", "der", "destra"};

constexpr std::string_view partWords[] = {"hips",
                                          "hip",
                                          "pelvis",
                                          "root",
                                          "body",
                                          "cog",
                                          "center",
                                          "centre",
                                          "sacrum",
                                          "sacroiliac",
                                          "spine",
                                          "back",
                                          "abdomen",
                                          "abdominal",
                                          "abs",
                                          "ab",
                                          "waist",
                                          "stomach",
                                          "belly",
                                          "torso",
                                          "trunk",
                                          "lumbar",
                                          "chest",
                                          "thorax",
                                          "thoracic",
                                          "ribcage",
                                          "ribs",
                                          "sternum",
                                          "neck",
                                          "cervical",
                                          "head",
                                          "skull",
                                          "skullbase",
                                          "cranium",
                                          "eye",
                                          "eyeball",
                                          "eyes",
                                          "jaw",
                                          "chin",
                                          "mandible",
                                          "shoulder",
                                          "clavicle",
                                          "clav",
                                          "collar",
                                          "collarbone",
                                          "scapula",
                                          "sternoclavicular",
                                          "acromioclavicular",
                                          "shldr",
                                          "arm",
                                          "humerus",
                                          "bicep",
                                          "biceps",
                                          "elbow",
                                          "radius",
                                          "ulna",
                                          "forearm",
                                          "hand",
                                          "wrist",
                                          "palm",
                                          "fist",
                                          "radiocarpal",
                                          "carpal",
                                          "carpus",
                                          "leg",
                                          "thigh",
                                          "femur",
                                          "calf",
                                          "shin",
                                          "shank",
                                          "tibia",
                                          "fibula",
                                          "knee",
                                          "foot",
                                          "feet",
                                          "ankle",
                                          "talocrural",
                                          "toe",
                                          "toes",
                                          "ball",
                                          "metatarsal",
                                          "metatarsophalangeal",
                                          "midtarsal",
                                          "thumb",
                                          "index",
                                          "pointer",
                                          "middle",
                                          "mid",
                                          "ring",
                                          "little",
                                          "pinky",
                                          "pinkie",
                                          "pinkey",
                                          "finger",
                                          "fingers",
                                          "upper",
                                          "up",
                                          "lower",
                                          "low",
                                          "lo",
                                          "fore",
                                          "base",
                                          "joint",
                                          "upleg",
                                          "lowleg",
                                          "metacarpal",
                                          "proximal",
                                          "intermediate",
                                          "distal",
                                          "bone",
                                          "jnt",
                                          "mid",
                                          "heel"};

constexpr std::string_view twistWords[] = {"twist", "twst", "roll", "rollbone", "twistbone"};
constexpr std::string_view endWords[] = {"end", "nub", "tip", "site", "endsite", "leaf", "nubs", "ends", "top"};
constexpr std::string_view helperWords[] = {
    "ik",       "fk",       "pole",   "target",   "ctrl",     "control",    "controller", "con",     "mch",     "handle",   "handler",
    "effector", "prop",     "slot",   "handslot", "weapon",   "sword",      "shield",     "gun",     "socket",  "attach",   "attachment",
    "locator",  "loc",      "camera", "cam",      "light",    "footsteps",  "dummy",      "gizmo",   "aim",     "lookat",   "helper",
    "dyn",      "cloth",    "skirt",  "hair",     "tail",     "wing",       "ear",        "ears",    "cape",    "cloak",    "bag",
    "hat",      "helmet",   "helm",   "breast",   "bust",     "boob",       "butt",       "buttock", "glute",   "brow",     "eyebrow",
    "lid",      "eyelid",   "lip",    "lips",     "mouth",    "tongue",     "teeth",      "cheek",   "nose",    "mesh",     "geo",
    "geometry", "collider", "phys",   "holder",   "grp",      "pivot",      "constraint", "driver",  "tweak",   "spring",   "sec",
    "coat",     "scarf",    "belt",   "pocket",   "item",     "tool",       "sky",        "lash",    "eyelash", "ponytail", "braid",
    "bangs",    "pad",      "sleeve", "strap",    "pouch",    "beard",      "horn",       "antenna", "kneeik",  "elbowik",  "heelik",
    "handik",   "footik",   "armik",  "legik",    "heelroll", "corrective", "muscle"};

template <std::size_t N>
bool isOneOf(std::string_view word, const std::string_view (&words)[N]) {
  return std::find(std::begin(words), std::end(words), word) != std::end(words);
}

bool isDigit(char c) {
  return c >= '0' && c <= '9';
}
bool isUpper(char c) {
  return c >= 'A' && c <= 'Z';
}
bool isLower(char c) {
  return c >= 'a' && c <= 'z';
}
char lower(char c) {
  return isUpper(c) ? static_cast<char>(c - 'A' + 'a') : c;
}

bool isWord(std::string_view w) {
  return isOneOf(w, partWords) || isOneOf(w, twistWords) || isOneOf(w, endWords) || isOneOf(w, helperWords);
}
bool isSide(std::string_view w) {
  return isOneOf(w, leftWords) || isOneOf(w, rightWords);
}

// Splits "lhumerus" or "leftupperarm" into known words; leaves alone what cannot be split completely. Single letters
// are sides only at the ends.
bool splitWord(std::string_view text, std::vector<std::string>& out, bool start) {
  if (text.empty()) return true;
  for (std::size_t n = text.size(); n >= 1; --n) {
    const std::string_view head = text.substr(0, n), rest = text.substr(n);
    const bool ends = start || rest.empty();
    const bool sideLike = isSide(head) && (head.size() >= 4 || (head.size() == 1 && ends));
    if (!(isWord(head) && head.size() >= 2) && !sideLike) continue;
    const std::size_t mark = out.size();
    out.emplace_back(head);
    if (splitWord(rest, out, false)) return true;
    out.resize(mark);
  }
  return false;
}

std::vector<std::string> tokens(std::string_view name) {
  if (const auto cut = name.find_last_of(":|"); cut != std::string_view::npos && cut + 1 < name.size()) name = name.substr(cut + 1);
  std::vector<std::string> raw;
  std::string word;
  const auto flush = [&] {
    if (!word.empty()) raw.push_back(word);
    word.clear();
  };
  for (std::size_t i = 0; i < name.size(); ++i) {
    const char c = name[i];
    const bool letter = isUpper(c) || isLower(c);
    if (!letter && !isDigit(c)) {
      flush();
      continue;
    }
    if (!word.empty()) {
      const char p = name[i - 1];
      const bool camel = isUpper(c) && isLower(p);
      const bool capitals = isUpper(c) && isUpper(p) && i + 1 < name.size() && isLower(name[i + 1]);
      if (camel || capitals || isDigit(c) != isDigit(p)) flush();
    }
    word += lower(c);
  }
  flush();
  std::vector<std::string> out;
  for (const std::string& w : raw) {
    if (isDigit(w[0]) || isWord(w) || isSide(w)) {
      out.push_back(w);
      continue;
    }
    std::vector<std::string> pieces;
    if (splitWord(w, pieces, true))
      out.insert(out.end(), pieces.begin(), pieces.end());
    else
      out.push_back(w);
  }
  return out;
}

struct Written {
  std::string_view text;
  Part part;
  float likeness;
};
// Names in Japanese script as customary for figures made there; longer ones first.
constexpr Written japanese[] = {{"上半身2", Part::chest, 1},   {"上半身", Part::spine, 1},  {"下半身", Part::hips, .7F},
                                {"センター", Part::hips, .5F}, {"つま先", Part::toes, 1},   {"手首", Part::hand, 1},
                                {"足首", Part::foot, 1},       {"ひじ", Part::lowerArm, 1}, {"ひざ", Part::lowerLeg, 1},
                                {"親指", Part::thumb, 1},      {"人指", Part::index, 1},    {"中指", Part::middle, 1},
                                {"薬指", Part::ring, 1},       {"小指", Part::little, 1},   {"肩", Part::shoulder, 1},
                                {"腕", Part::upperArm, 1},     {"足", Part::upperLeg, .8F}, {"首", Part::neck, 1},
                                {"頭", Part::head, 1},         {"目", Part::eye, 1},        {"腰", Part::hips, .6F}};

void readJapanese(std::string_view name, NameCue& cue) {
  if (name.find("左") != std::string_view::npos) cue.side = Side::left;
  if (name.find("右") != std::string_view::npos) cue.side = Side::right;
  if (name.find("捩") != std::string_view::npos) cue.twist = true;
  if (name.find("先") != std::string_view::npos && name.find("つま先") == std::string_view::npos) cue.end = true;
  for (const Written& w : japanese)
    if (name.find(w.text) != std::string_view::npos) {
      cue.likeness[static_cast<int>(w.part)] = w.likeness;
      return;
    }
}

}  // namespace

Part NameCue::best() const {
  const auto it = std::max_element(likeness.begin(), likeness.end());
  return *it > 0 ? static_cast<Part>(it - likeness.begin()) : Part::count;
}

NameCue readName(std::string_view name) {
  NameCue cue;
  if (std::any_of(name.begin(), name.end(), [](char c) { return static_cast<unsigned char>(c) >= 0x80; })) readJapanese(name, cue);
  const std::vector<std::string> words = tokens(name);
  const auto has = [&](auto... w) { return ((std::find(words.begin(), words.end(), w) != words.end()) || ...); };
  std::string digits;
  bool leg = false, biped = false;
  for (const std::string& w : words) {
    if (isOneOf(w, leftWords)) cue.side = Side::left;
    if (isOneOf(w, rightWords)) cue.side = Side::right;
    if (isOneOf(w, twistWords)) cue.twist = true;
    if (isOneOf(w, endWords)) cue.end = true;
    if (isOneOf(w, helperWords)) cue.helper = true;
    if (isDigit(w[0])) digits = w;
    biped = biped || w == "bip" || w == "biped";
    leg = leg || w == "leg" || w == "foot" || w == "toe" || w == "toes";
  }
  // "LeftHand_End" ends a chain; "tip" and "top" alone are not enough to end a finger or a head.
  if (cue.end && has("top") && !has("end", "head")) cue.end = false;
  if (!digits.empty()) cue.number = digits.size() < 6 ? std::stoi(digits) : -1;
  if (has("metacarpal")) cue.phalanx = 0;
  if (has("proximal")) cue.phalanx = 1;
  if (has("intermediate")) cue.phalanx = 2;
  if (has("distal")) cue.phalanx = 3;

  const auto set = [&](Part part, double value) {
    float& old = cue.likeness[static_cast<int>(part)];
    old = std::max(old, static_cast<float>(value));
  };
  const bool sided = cue.side != Side::centre;
  const bool upper = has("upper", "up"), low = has("lower", "low", "lo");
  const bool trunk = has("spine", "back", "torso", "neck", "chest", "abdomen");
  const bool finger =
      !trunk && (has("thumb", "index", "pointer", "ring", "little", "pinky", "pinkie", "pinkey", "finger", "fingers", "middle") ||
                 (has("mid") && !has("leg", "arm", "foot")));
  if (has("toe", "toes", "ball", "metatarsal", "metatarsophalangeal", "midtarsal") || (leg && finger)) {
    set(Part::toes, has("midtarsal") ? .5 : 1);
  } else if (finger) {
    if (has("thumb"))
      set(Part::thumb, 1);
    else if (has("index", "pointer"))
      set(Part::index, 1);
    else if (has("little", "pinky", "pinkie", "pinkey"))
      set(Part::little, 1);
    else if (has("ring"))
      set(Part::ring, 1);
    else if (has("middle", "mid"))
      set(Part::middle, 1);
    else if (biped && words.back() == digits && !digits.empty() && digits[0] <= '4') {
      // Skeletons named Bip01 … number the fingers from the thumb: Finger0, Finger01, Finger02, Finger1, Finger11 …
      set(static_cast<Part>(static_cast<int>(Part::thumb) + (digits[0] - '0')), 1);
      cue.number = digits.size() > 1 ? digits[1] - '0' + 1 : 1;
    } else {
      set(Part::finger, .8);
    }
  } else if (has("forearm", "elbow", "radius", "ulna") || (has("arm") && (low || has("fore")))) {
    set(Part::lowerArm, 1);
  } else if (has("hand")) {
    set(Part::hand, 1);
  } else if (has("wrist", "radiocarpal", "carpal", "carpus")) {
    set(Part::hand, .7);
  } else if (has("palm", "fist")) {
    set(Part::hand, .8);
  } else if (has("humerus", "bicep", "biceps") || (has("arm") && upper)) {
    set(Part::upperArm, 1);
  } else if (has("clavicle", "clav", "collar", "collarbone", "sternoclavicular", "acromioclavicular")) {
    set(Part::shoulder, 1);
  } else if (has("scapula")) {
    set(Part::shoulder, .7);
  } else if (has("shldr")) {
    set(Part::upperArm, .9), set(Part::shoulder, .4);
  } else if (has("shoulder")) {
    set(Part::shoulder, .7), set(Part::upperArm, .6);
  } else if (has("arm")) {
    set(Part::upperArm, .85), set(Part::lowerArm, .3);
  } else if (has("calf", "shin", "shank", "tibia", "fibula", "knee", "lowleg") || (has("leg") && low)) {
    set(Part::lowerLeg, 1);
  } else if (has("thigh", "femur", "upleg") || (has("leg") && upper)) {
    set(Part::upperLeg, 1);
  } else if (has("foot", "ankle", "talocrural", "feet")) {
    set(Part::foot, 1);
  } else if (has("leg")) {
    set(Part::lowerLeg, .65), set(Part::upperLeg, .6);
  } else if (has("hip", "hips") && sided) {
    set(Part::upperLeg, has("joint") ? .5 : .9);
  } else if (has("hips", "pelvis", "hip")) {
    set(Part::hips, sided ? .1 : 1);
  } else if (has("chest", "thorax", "ribcage", "thoracic", "sternum", "ribs")) {
    if (upper)
      set(Part::upperChest, 1), set(Part::chest, .5);
    else
      set(Part::chest, has("thorax") ? .8 : 1), set(Part::upperChest, .5);
  } else if (has("spine", "back", "abdomen", "abdominal", "abs", "ab", "waist", "stomach", "belly", "torso", "trunk", "lumbar")) {
    if (has("back") && upper)
      set(Part::chest, .8), set(Part::spine, .4);
    else if (has("torso"))
      set(Part::chest, .7), set(Part::spine, .6), set(Part::upperChest, .6);
    else
      set(Part::spine, .9), set(Part::chest, .5), set(Part::upperChest, .4);
  } else if (has("neck", "cervical")) {
    set(Part::neck, 1);
  } else if (has("eye", "eyeball", "eyes")) {
    set(Part::eye, 1);
  } else if (has("jaw", "chin", "mandible")) {
    set(Part::jaw, 1);
  } else if (has("head", "skull", "skullbase", "cranium")) {
    set(Part::head, 1);
  } else if (has("root", "body", "cog", "center", "centre", "sacrum", "sacroiliac")) {
    set(Part::hips, .4);
  } else if (words.size() == 2 && (words[0] == "vl" || words[0] == "vt" || words[0] == "vc")) {
    // Vertebrae of the H-Anim standard: lumbar, thoracic, cervical.
    if (words[0] == "vl") set(Part::spine, .9), set(Part::chest, .3);
    if (words[0] == "vt") set(Part::chest, .8), set(Part::upperChest, .6), set(Part::spine, .4);
    if (words[0] == "vc") set(Part::neck, .9);
  }
  return cue;
}

Part partOf(Role role) {
  switch (role) {
    case Role::hips:
      return Part::hips;
    case Role::spine:
      return Part::spine;
    case Role::chest:
      return Part::chest;
    case Role::upperChest:
      return Part::upperChest;
    case Role::neck:
      return Part::neck;
    case Role::head:
      return Part::head;
    case Role::leftEye:
    case Role::rightEye:
      return Part::eye;
    case Role::jaw:
      return Part::jaw;
    default:
      break;
  }
  const bool left = sideOf(role) == Side::left;
  if (isFinger(role)) {
    const int first = indexOf(left ? Role::leftThumbMetacarpal : Role::rightThumbMetacarpal);
    return static_cast<Part>(static_cast<int>(Part::thumb) + (indexOf(role) - first) / 3);
  }
  if (role >= Role::leftShoulder)
    return static_cast<Part>(static_cast<int>(Part::shoulder) + indexOf(role) - indexOf(left ? Role::leftShoulder : Role::rightShoulder));
  return static_cast<Part>(static_cast<int>(Part::upperLeg) + indexOf(role) - indexOf(left ? Role::leftUpperLeg : Role::rightUpperLeg));
}

namespace {

// Where a part stands in the tree: 0 trunk, 1 arm, 2 leg, 3 head; and how far out.
std::pair<int, int> standing(Part p) {
  switch (p) {
    case Part::hips:
      return {0, 0};
    case Part::spine:
      return {0, 1};
    case Part::chest:
      return {0, 2};
    case Part::upperChest:
      return {0, 3};
    case Part::neck:
      return {3, 0};
    case Part::head:
      return {3, 1};
    case Part::eye:
    case Part::jaw:
      return {3, 2};
    case Part::shoulder:
      return {1, 0};
    case Part::upperArm:
      return {1, 1};
    case Part::lowerArm:
      return {1, 2};
    case Part::hand:
      return {1, 3};
    case Part::upperLeg:
      return {2, 0};
    case Part::lowerLeg:
      return {2, 1};
    case Part::foot:
      return {2, 2};
    case Part::toes:
      return {2, 3};
    default:
      return {1, 4};
  }
}

bool mayCarry(const NameCue& above, const NameCue& below) {
  const Part p = above.best(), q = below.best();
  const auto [limbP, rankP] = standing(p);
  const auto [limbQ, rankQ] = standing(q);
  if (limbP == 0) return limbQ != 0 || rankQ >= rankP || p == Part::chest || q == Part::hips;
  if (limbP != limbQ) return false;
  if (limbP != 3 && above.side != below.side) return false;
  if (rankP == 4) return p == q;
  return rankQ >= rankP;
}

}  // namespace

double nameTrust(const std::vector<NameCue>& cues, const std::vector<int>& parents) {
  int good = 0, all = 0;
  for (std::size_t j = 0; j < cues.size(); ++j) {
    if (!cues[j].known() || cues[j].helper) continue;
    int up = parents[j];
    while (up >= 0 && (!cues[up].known() || cues[up].helper)) up = parents[up];
    if (up < 0) continue;
    ++all;
    good += mayCarry(cues[up], cues[j]);
  }
  if (all < 4) return 0;
  return std::clamp((static_cast<double>(good) / all - .65) / .25, 0.0, 1.0);
}

}  // namespace understudy
