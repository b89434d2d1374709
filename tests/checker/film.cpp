#include "tests/checker/film.h"

#include <cctype>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace checker {

Quaterniond turnOf(const Affine3d& transform) {
  Eigen::Matrix3d m = transform.linear();
  for (int c = 0; c < 3; ++c) {
    const double length = m.col(c).norm();
    if (length > 0) m.col(c) /= length;
  }
  if (m.determinant() < 0) m = -m;
  return Quaterniond(m).normalized();
}

Quaterniond Film::turn(int frame, int node) const { return turnOf(at(frame, node)); }

Vector3d Film::skinned(int frame, int point) const {
  Vector3d sum = Vector3d::Zero();
  for (const auto& share : points[static_cast<std::size_t>(point)].shares) sum += share.weight * (at(frame, share.node) * share.local);
  return sum;
}

Vector3d Film::skinnedInBind(int point) const {
  Vector3d sum = Vector3d::Zero();
  for (const auto& share : points[static_cast<std::size_t>(point)].shares) sum += share.weight * (bind[static_cast<std::size_t>(share.node)] * share.local);
  return sum;
}

int Film::find(const std::string& key) const {
  int found = -1;
  for (int j = 0; j < nodes(); ++j)
    if (names[static_cast<std::size_t>(j)] == key) {
      if (found >= 0) throw std::runtime_error("the name '" + key + "' is used twice");
      found = j;
    }
  if (found >= 0) return found;
  if (key.size() > 1 && key[0] == '#') {
    const int index = std::atoi(key.c_str() + 1);
    return index < nodes() ? index : -1;
  }
  for (int j = 0; j < nodes(); ++j) {
    std::string path = names[static_cast<std::size_t>(j)];
    for (int p = parents[static_cast<std::size_t>(j)]; p >= 0; p = parents[static_cast<std::size_t>(p)]) {
      if (path == key) return j;
      path = names[static_cast<std::size_t>(p)] + "/" + path;
    }
    if (path == key) return j;
  }
  return -1;
}

void standUp(Film& film, const std::string& up) {
  if (up == "+Y" || up.empty()) return;
  Vector3d axis = Vector3d::Zero();
  axis[up.size() == 2 && up[1] >= 'X' && up[1] <= 'Z' ? up[1] - 'X' : 1] = up[0] == '-' ? -1 : 1;
  const Affine3d turn(Quaterniond::FromTwoVectors(axis, Vector3d::UnitY()));
  for (Affine3d& w : film.world) w = turn * w;
  for (Affine3d& b : film.bind) b = turn * b;
}

namespace {

struct Joint {
  int parent = -1;
  Vector3d offset = Vector3d::Zero();
  std::vector<std::string> channels;
};

std::string lower(std::string text) {
  for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return text;
}

}  // namespace

Film readBvh(const std::string& path) {
  std::ifstream in(path);
  if (!in) throw std::runtime_error("cannot open " + path);
  Film film;
  std::vector<Joint> joints;
  std::vector<int> open;
  bool inEnd = false;
  int declared = 0;
  std::string line;
  while (std::getline(in, line)) {
    std::istringstream words(line);
    std::string word;
    if (!(words >> word)) continue;
    const std::string key = lower(word);
    if (key == "root" || key == "joint") {
      std::string name, more;
      words >> name;
      while (words >> more) name += " " + more;
      film.names.push_back(name);
      film.ends.emplace_back(Vector3d::Zero());
      joints.push_back({open.empty() ? -1 : open.back(), Vector3d::Zero(), {}});
      film.parents.push_back(joints.back().parent);
      open.push_back(static_cast<int>(joints.size()) - 1);
    } else if (key == "end") {
      inEnd = true;
    } else if (key == "}") {
      if (inEnd) inEnd = false;
      else if (!open.empty()) open.pop_back();
    } else if (key == "offset") {
      Vector3d v;
      words >> v[0] >> v[1] >> v[2];
      const auto j = static_cast<std::size_t>(open.back());
      (inEnd ? film.ends[j] : joints[j].offset) = v;
    } else if (key == "channels") {
      int count = 0;
      words >> count;
      for (int i = 0; i < count; ++i) {
        std::string channel;
        words >> channel;
        joints[static_cast<std::size_t>(open.back())].channels.push_back(lower(channel));
      }
    } else if (key == "frames:") {
      words >> declared;
    } else if (key == "frame") {
      std::string time;
      double seconds = 0;
      words >> time >> seconds;
      film.fps = 1 / seconds;
      break;
    }
  }
  // Rates that files round to seven digits.
  if (std::abs(film.fps - std::round(film.fps)) < 0.01) film.fps = std::round(film.fps);
  const std::size_t count = joints.size();
  film.bind.resize(count);
  for (std::size_t j = 0; j < count; ++j) {
    const Affine3d local(Eigen::Translation3d(joints[j].offset));
    film.bind[j] = joints[j].parent < 0 ? local : film.bind[static_cast<std::size_t>(joints[j].parent)] * local;
  }
  std::string row;
  while (film.frames < declared && std::getline(in, row)) {
    const char* at = row.c_str();
    char* next = nullptr;
    bool any = false;
    for (std::size_t j = 0; j < count; ++j) {
      // Position channels replace the offset of the axes they name.
      Vector3d position = joints[j].offset;
      Quaterniond turn = Quaterniond::Identity();
      for (const std::string& channel : joints[j].channels) {
        const double value = std::strtod(at, &next);
        if (next == at) break;
        at = next;
        any = true;
        const int axis = channel[0] - 'x';
        if (channel.find("position") != std::string::npos) position[axis] = value;
        else turn = turn * Quaterniond(Eigen::AngleAxisd(value * EIGEN_PI / 180, Vector3d::Unit(axis)));
      }
      const Affine3d local = Eigen::Translation3d(position) * turn;
      film.world.push_back(joints[j].parent < 0 ? local : film.world[static_cast<std::size_t>(film.frames) * count + static_cast<std::size_t>(joints[j].parent)] * local);
    }
    if (!any) {
      film.world.resize(static_cast<std::size_t>(film.frames) * count);
      continue;
    }
    ++film.frames;
  }
  if (film.frames == 0) throw std::runtime_error("no frames in " + path);
  return film;
}

}  // namespace checker
