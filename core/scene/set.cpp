#include "core/scene/set.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/body/triangle_tree.h"
#include "core/io/read.h"

namespace understudy {
namespace {

/// A rectangle with a normal, in the shape's own frame.
struct Face {
  Vec3d corner, u, v;  // u and v span it, at right angles
  Vec3d normal;
};

Vec3d nearestOnFace(const Face& face, const Vec3d& p) {
  const Vec3d d = p - face.corner;
  return face.corner + face.u * std::clamp(dot(d, face.u) / dot(face.u, face.u), 0.0, 1.0) +
         face.v * std::clamp(dot(d, face.v) / dot(face.v, face.v), 0.0, 1.0);
}

std::vector<Face> boxFaces(const Vec3d& low, const Vec3d& high) {
  const Vec3d d = high - low, x{d.x, 0, 0}, y{0, d.y, 0}, z{0, 0, d.z};
  return {{low, z, y, {-1, 0, 0}}, {low + x, y, z, {1, 0, 0}}, {low, x, z, {0, -1, 0}}, {low + y, z, x, {0, 1, 0}}, {low, y, x, {0, 0, -1}}, {low + z, x, y, {0, 0, 1}}};
}

std::vector<Face> facesOf(const SetShape& shape) {
  if (shape.form == SetForm::box)
    return boxFaces({-shape.size.x / 2, 0, -shape.size.z / 2}, {shape.size.x / 2, shape.size.y, shape.size.z / 2});
  std::vector<Face> faces;
  const double w = shape.size.x, rise = shape.size.y, run = shape.size.z, back = shape.count * run;
  for (int i = 0; i < shape.count; ++i) {
    const double y = i * rise, z = i * run;
    faces.push_back({{-w / 2, y, z}, {0, rise, 0}, {w, 0, 0}, {0, 0, -1}});                     // riser
    faces.push_back({{-w / 2, y + rise, z}, {0, 0, run}, {w, 0, 0}, {0, 1, 0}});                // tread
    faces.push_back({{-w / 2, 0, z}, {0, 0, run}, {0, y + rise, 0}, {-1, 0, 0}});
    faces.push_back({{w / 2, 0, z}, {0, y + rise, 0}, {0, 0, run}, {1, 0, 0}});
  }
  faces.push_back({{-w / 2, 0, back}, {w, 0, 0}, {0, shape.count * rise, 0}, {0, 0, 1}});
  faces.push_back({{-w / 2, 0, 0}, {w, 0, 0}, {0, 0, back}, {0, -1, 0}});
  return faces;
}

bool insideOf(const SetShape& shape, const Vec3d& p) {
  if (std::abs(p.x) > shape.size.x / 2 || p.y < 0) return false;
  if (shape.form == SetForm::box) return p.y < shape.size.y && std::abs(p.z) < shape.size.z / 2;
  if (p.z < 0 || p.z > shape.count * shape.size.z) return false;
  return p.y < (std::min(shape.count - 1, static_cast<int>(p.z / shape.size.z)) + 1) * shape.size.y;
}

SurfacePoint nearestOnFaces(const SetShape& shape, const Vec3d& p) {
  SurfacePoint best;
  double least = std::numeric_limits<double>::infinity();
  for (const Face& face : facesOf(shape)) {
    const Vec3d q = nearestOnFace(face, p);
    const double d = distance(p, q);
    if (d >= least) continue;
    least = d;
    best.point = q;
    best.normal = face.normal;
  }
  const bool inside = insideOf(shape, p);
  best.distance = inside ? -least : least;
  // On edges and corners the surface's direction is the way to the point.
  if (!inside && least > 1e-9) best.normal = (p - best.point) / least;
  return best;
}

SurfacePoint nearestOnMesh(const SetMesh& mesh, const Vec3d& p) {
  SurfacePoint best;
  double least = std::numeric_limits<double>::infinity();
  Vec3d towards{};
  for (std::size_t b = 0; b < mesh.balls.size(); ++b) {
    if (distance(p, mesh.balls[b].middle) - mesh.balls[b].radius > least + 1e-12) continue;
    const std::size_t end = std::min(mesh.indices.size() / 3, (b + 1) * SetMesh::ballTriangles);
    for (std::size_t t = b * SetMesh::ballTriangles; t < end; ++t) {
      const Vec3d &v0 = mesh.positions[mesh.indices[3 * t]], &v1 = mesh.positions[mesh.indices[3 * t + 1]], &v2 = mesh.positions[mesh.indices[3 * t + 2]];
      const Vec3d q = closestOnTriangle(p, v0, v1, v2);
      const double d = distance(p, q);
      const Vec3d n = normalised(cross(v1 - v0, v2 - v0));
      if (d > least + 1e-12 || n == Vec3d{}) continue;
      // Triangles that share the nearest edge or corner: the one that faces the point most tells the side.
      const bool tie = d > least - 1e-12;
      if (tie && std::abs(dot(n, p - q)) <= std::abs(dot(towards, p - best.point))) continue;
      least = std::min(least, d);
      best.point = q;
      towards = n;
    }
  }
  const Vec3d away = p - best.point;
  best.distance = dot(away, towards) < 0 ? -least : least;
  best.normal = best.distance > 1e-9 ? away / least : towards;
  return best;
}

bool positive(double v) { return std::isfinite(v) && v > 0; }

void addFace(SetMesh& mesh, const Face& face) {
  const auto first = static_cast<std::uint32_t>(mesh.positions.size());
  const bool turned = dot(cross(face.u, face.v), face.normal) < 0;
  const Vec3d u = turned ? face.v : face.u, v = turned ? face.u : face.v;
  for (const Vec3d& p : {face.corner, face.corner + u, face.corner + u + v, face.corner + v}) mesh.positions.push_back(p);
  for (const std::uint32_t i : {0U, 1U, 2U, 0U, 2U, 3U}) mesh.indices.push_back(first + i);
}

}  // namespace

Status checkShape(const SetShape& shape) {
  const auto wrong = [](const char* what, const char* todo) { return makeError(Fault::usage, what, {}, todo); };
  if (!isFinite(shape.place.at) || !isFinite(shape.place.turn)) return wrong("An object of the set is at a place that is not finite", "Place it again");
  switch (shape.form) {
    case SetForm::plane: return Done{};
    case SetForm::ball:
      if (!positive(shape.size.x)) return wrong("A ball of the set has no radius", "Give it one above 0");
      return Done{};
    case SetForm::box:
    case SetForm::steps:
      if (!positive(shape.size.x) || !positive(shape.size.y) || !positive(shape.size.z))
        return wrong("An object of the set has an edge without length", "Give all three sizes above 0");
      if (shape.form == SetForm::steps && (shape.count < 1 || shape.count > 10000)) return wrong("Steps of the set need a number of 1 to 10000", "State how many");
      return Done{};
    case SetForm::mesh:
      if (!shape.mesh || shape.mesh->indices.empty()) return wrong("A mesh of the set has no triangles", "Choose a file that holds some");
      return Done{};
  }
  return Done{};
}

SurfacePoint nearestOn(const SetShape& shape, const Vec3d& point) {
  const Vec3d p = apply(inverse(shape.place), point);
  SurfacePoint own;
  switch (shape.form) {
    case SetForm::plane: own = {{p.x, 0, p.z}, {0, 1, 0}, p.y}; break;
    case SetForm::ball: {
      const double r = length(p);
      const Vec3d out = normalised(p, Vec3d{0, 1, 0});
      own = {out * shape.size.x, out, r - shape.size.x};
      break;
    }
    case SetForm::box:
    case SetForm::steps: own = nearestOnFaces(shape, p); break;
    case SetForm::mesh: own = nearestOnMesh(*shape.mesh, p); break;
  }
  return {apply(shape.place, own.point), rotate(shape.place.turn, own.normal), own.distance};
}

SetMesh trianglesOf(const SetShape& shape, double reach) {
  SetMesh mesh;
  switch (shape.form) {
    case SetForm::plane: addFace(mesh, {{-reach, 0, -reach}, {0, 0, 2 * reach}, {2 * reach, 0, 0}, {0, 1, 0}}); break;
    case SetForm::box:
    case SetForm::steps:
      for (const Face& face : facesOf(shape)) addFace(mesh, face);
      break;
    case SetForm::ball: {
      constexpr int around = 32, along = 16;
      for (int i = 0; i <= along; ++i)
        for (int k = 0; k < around; ++k) {
          const double a = std::numbers::pi * i / along, b = 2 * std::numbers::pi * k / around;
          mesh.positions.push_back(Vec3d{std::sin(a) * std::sin(b), std::cos(a), std::sin(a) * std::cos(b)} * shape.size.x);
        }
      for (int i = 0; i < along; ++i)
        for (int k = 0; k < around; ++k) {
          const auto at = [&](int row, int column) { return static_cast<std::uint32_t>(row * around + column % around); };
          // The rows at the poles are single points.
          if (i + 1 < along) mesh.indices.insert(mesh.indices.end(), {at(i, k), at(i + 1, k), at(i + 1, k + 1)});
          if (i > 0) mesh.indices.insert(mesh.indices.end(), {at(i, k), at(i + 1, k + 1), at(i, k + 1)});
        }
      break;
    }
    case SetForm::mesh: mesh = *shape.mesh; break;
  }
  for (Vec3d& p : mesh.positions) p = apply(shape.place, p);
  makeBalls(mesh);
  return mesh;
}

void makeBalls(SetMesh& mesh) {
  mesh.balls.clear();
  const std::size_t triangles = mesh.indices.size() / 3;
  for (std::size_t first = 0; first < triangles; first += SetMesh::ballTriangles) {
    const std::size_t end = std::min(triangles, first + SetMesh::ballTriangles);
    SetMesh::Ball ball;
    for (std::size_t i = 3 * first; i < 3 * end; ++i) ball.middle += mesh.positions[mesh.indices[i]];
    ball.middle = ball.middle / static_cast<double>(3 * (end - first));
    for (std::size_t i = 3 * first; i < 3 * end; ++i) ball.radius = std::max(ball.radius, distance(ball.middle, mesh.positions[mesh.indices[i]]));
    mesh.balls.push_back(ball);
  }
}

Result<std::shared_ptr<const SetMesh>> readSetMesh(const std::string& path, const RunControl& control) {
  const Result<Figure> figure = readFigure(path, {}, control);
  if (!figure) return figure.error();
  auto mesh = std::make_shared<SetMesh>();
  const Affined toWorld = figure->space.toWorld();
  const std::vector<Affined> rest = restWorld(figure->skeleton);
  for (const Mesh& part : figure->meshes) {
    const auto first = static_cast<std::uint32_t>(mesh->positions.size());
    for (const Vec3f& p : skinnedPositions(*figure, part, rest)) {
      mesh->positions.push_back(apply(toWorld, Vec3d(p)));
      if (!isFinite(mesh->positions.back())) return makeError(Fault::input, "The mesh holds numbers that are not finite", path, "Export the file again");
    }
    for (const std::uint32_t i : part.indices) mesh->indices.push_back(first + i);
  }
  if (mesh->indices.empty()) return makeError(Fault::input, "The file holds no triangles to put into the set", path, "Choose a file with a mesh");
  makeBalls(*mesh);
  return std::shared_ptr<const SetMesh>(std::move(mesh));
}

}  // namespace understudy
