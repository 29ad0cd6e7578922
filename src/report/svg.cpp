#include "report/svg.h"

#include <fmt/format.h>

#include <sstream>

#include "base/markup.h"
#include "base/utf8.h"
#include "report/look.h"

namespace pivotrace::report {

namespace {

constexpr double ascent = 0.78;   ///< of a label above its base line, in sizes
constexpr double descent = 0.24;  ///< below

/// Widths in sizes, of a wide sans-serif.
double letter_width(char letter) {
  constexpr std::string_view narrow = "iIjl.,:;'|!()[] ";
  constexpr std::string_view wide = "mwMW@%";
  if (narrow.find(letter) != std::string_view::npos) return 0.40;
  if (wide.find(letter) != std::string_view::npos) return 0.98;
  if (letter >= 'A' && letter <= 'Z') return 0.74;
  return 0.64;
}

std::string points_text(const std::vector<Point>& points) {
  std::string text;
  for (const Point& point : points) text += fmt::format("{:.2f},{:.2f} ", point.x, point.y);
  return text;
}

const char* anchor_word(Anchor anchor) {
  switch (anchor) {
    case Anchor::start: return "start";
    case Anchor::middle: return "middle";
    case Anchor::end: return "end";
  }
  return "start";
}

double left_of(double x, double width, Anchor anchor) {
  switch (anchor) {
    case Anchor::start: return x;
    case Anchor::middle: return x - 0.5 * width;
    case Anchor::end: return x - width;
  }
  return x;
}

}  // namespace

double text_width(std::string_view text, double size) {
  double width = 0.0;
  for (const char letter : text) {
    if (!is_utf8_continuation(letter)) width += letter_width(letter);
  }
  return width * size;
}

std::vector<std::string> lines_within(const std::string& text, double width, double size) {
  std::vector<std::string> lines;
  std::istringstream words(text);
  for (std::string word; words >> word;) {
    const bool fits = !lines.empty() && text_width(lines.back() + " " + word, size) <= width;
    if (fits) {
      lines.back() += " " + word;
    } else {
      lines.push_back(word);
    }
  }
  return lines;
}

void Svg::line(Point from, Point to, std::string_view look) {
  body_ +=
      fmt::format("<line class=\"{}\" x1=\"{:.2f}\" y1=\"{:.2f}\" x2=\"{:.2f}\" y2=\"{:.2f}\"/>\n",
                  look, from.x, from.y, to.x, to.y);
}

void Svg::polyline(const std::vector<Point>& points, std::string_view look) {
  body_ += fmt::format("<polyline class=\"{}\" points=\"{}\"/>\n", look, points_text(points));
}

void Svg::polygon(const std::vector<Point>& points, std::string_view look) {
  body_ += fmt::format("<polygon class=\"{}\" points=\"{}\"/>\n", look, points_text(points));
}

void Svg::rect(const Box& box, std::string_view look) {
  body_ += fmt::format(
      "<rect class=\"{}\" x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\"/>\n", look,
      box.left, box.top, box.right - box.left, box.bottom - box.top);
}

void Svg::circle(Point centre, double radius, std::string_view look) {
  body_ += fmt::format("<circle class=\"{}\" cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{:.2f}\"/>\n", look,
                       centre.x, centre.y, radius);
}

void Svg::ellipse(Point centre, double half_x, double half_y, double turned_deg,
                  std::string_view look) {
  body_ += fmt::format(
      "<ellipse class=\"{}\" cx=\"{:.2f}\" cy=\"{:.2f}\" rx=\"{:.2f}\" ry=\"{:.2f}\" "
      "transform=\"rotate({:.2f} {:.2f} {:.2f})\"/>\n",
      look, centre.x, centre.y, half_x, half_y, -turned_deg, centre.x, centre.y);
}

void Svg::cross(Point centre, double radius, std::string_view look) {
  line({centre.x - radius, centre.y - radius}, {centre.x + radius, centre.y + radius}, look);
  line({centre.x - radius, centre.y + radius}, {centre.x + radius, centre.y - radius}, look);
}

void Svg::label(Point at, std::string_view text, Anchor anchor, std::string_view look,
                double size) {
  if (text.empty()) return;
  const double width = text_width(text, size);
  const double left = left_of(at.x, width, anchor);
  labels_.push_back(
      {{left, at.y - ascent * size, left + width, at.y + descent * size}, std::string(text), size});
  body_ += fmt::format(
      "<text class=\"{}\" x=\"{:.2f}\" y=\"{:.2f}\" text-anchor=\"{}\" "
      "font-size=\"{:g}\">{}</text>\n",
      look, at.x, at.y, anchor_word(anchor), size, escaped(text));
}

void Svg::open_group(std::string_view id) { body_ += fmt::format("<g id=\"{}\">\n", id); }

void Svg::close_group() { body_ += "</g>\n"; }

void Svg::mark(std::string_view id, std::string_view look) {
  body_ += fmt::format("<path id=\"{}\" class=\"{}\"/>\n", id, look);
}

std::string Svg::element(std::string_view title, std::string_view description) const {
  return fmt::format(
      "<svg class=\"fig\" role=\"img\" xmlns=\"http://www.w3.org/2000/svg\" "
      "viewBox=\"0 0 {0:.0f} {1:.0f}\" width=\"{0:.0f}\" height=\"{1:.0f}\">\n<title>{2}</title>\n"
      "<desc>{3}</desc>\n{4}</svg>\n",
      width_, height_, escaped(title), escaped(description), body_);
}

std::string Svg::file(std::string_view title, std::string_view description) const {
  std::string text = element(title, description);
  const std::string ground = fmt::format(
      "<style>{}</style>\n<rect width=\"100%\" height=\"100%\" fill=\"var(--paper)\"/>\n",
      figure_css());
  return text.insert(text.find("<title>"), ground);
}

}  // namespace pivotrace::report
