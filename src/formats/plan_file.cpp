#include "pivotrace/formats/plan_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "base/cautions.h"
#include "base/words.h"
#include "base/wrapped_text.h"
#include "formats/toml_reader.h"
#include "pivotrace/disk/file_name.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::Need;
using formats::Sign;
using formats::TomlTable;

constexpr int newest_format = 1;

constexpr std::array<Purpose, 4> purposes = {Purpose::commissioning, Purpose::periodic_check,
                                             Purpose::after_crash, Purpose::minutes};

/// At most six decimals, no trailing zeros, always a point: "18.0", "-7.125".
std::string tidy_number(double value) {
  std::string text = fmt::format("{:.6f}", value);
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text += '0';
  return text == "-0.0" ? "0.0" : text;
}

std::string quoted(const std::string& text) {
  std::string result = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') result += '\\';
    result += c;
  }
  return result + "\"";
}

/// Touches of one artefact at one station, as written: what several stations can share.
struct Pattern {
  int artefact = 0;
  std::string touches;
};

std::string touch_text(const PlannedTouch& touch, ArtefactKind kind) {
  std::string text = "{ around = " + tidy_number(deg_from_rad(touch.around_rad));
  if (kind != ArtefactKind::flat) text += ", up = " + tidy_number(deg_from_rad(touch.up_rad));
  if (kind == ArtefactKind::pin || kind == ArtefactKind::bore) {
    text += ", along = " + tidy_number(touch.along_mm);
  }
  if (kind == ArtefactKind::flat) text += ", out = " + tidy_number(touch.out_mm);
  return text + " }";
}

/// As comment lines of the file.
std::string commented(const std::string& text) {
  const std::string lines = wrapped("# " + text, "", 0);
  std::string comment;
  for (const char c : lines.substr(0, lines.size() - 1)) {
    comment += c;
    if (c == '\n') comment += "# ";
  }
  return comment + "\n";
}

class PlanWriter {
 public:
  PlanWriter(const Plan& plan, const Machine& machine, const std::string& machine_file)
      : plan_(plan), machine_(machine), machine_file_(machine_file) {}

  std::string write() {
    std::string stations;
    for (const PlannedStation& station : plan_.stations) stations += station_text(station);
    return head() + numbers() + patterns_text() + stations + predictions();
  }

 private:
  std::string head() const {
    return fmt::format(
        "# Probing plan {}: {} stations, {} touches. Lengths mm, angles degrees. It may be "
        "edited:\n"
        "# run `pivotrace check` on it afterwards, and rehearse the program made from it.\n"
        "{}"
        "format = 1\n"
        "kind = \"plan\"\n"
        "machine = {}\n"
        "machine_file = {}\n"
        "purpose = \"{}\"\n"
        "self_find = {}                    # the program finds the first artefact from a jogged "
        "position\n"
        "minutes = {}                      # expected\n\n",
        identity_of(plan_), plan_.stations.size(), plan_.touch_count(),
        commented(caution(moving_machine_caution)), quoted(machine_.name), quoted(machine_file_),
        word_of(plan_.purpose), plan_.self_find,
        tidy_number(std::round(plan_.minutes * 10.0) / 10.0));
  }

  std::string numbers() const {
    const ProbingDistances& d = plan_.distances;
    const auto line = [](const char* key, double value, const char* note) {
      return fmt::format("{:<36}# {}\n", fmt::format("{} = {}", key, tidy_number(value)), note);
    };
    return "[feeds]                             # mm/min\n" +
           line("find", plan_.feeds.find, "first, fast touch") +
           line("measure", plan_.feeds.measure, "second, slow touch") +
           line("position", plan_.feeds.position, "between touches") + "\n[distances]\n" +
           line("clearance", d.clearance, "to a surface before a touch, beyond `rough`") +
           line("rough", d.rough, "how far the machine file or the jog may be off") +
           line("search", d.search, "how far past a surface to look, beyond `rough`") +
           line("approach", d.approach, "to a surface before a touch whose place is known") +
           line("back_off", d.back_off, "between the fast and the slow touch") +
           line("lift", d.lift, "extra height between touches") +
           line("limit", d.limit, "stop when a touch is further than this from prediction") +
           line("agreement", d.agreement, "stop when a fast and a slow touch differ by more") +
           line("safe_height", d.safe_height, "Z shown, where axes turn and rapid moves run") +
           line("turn_run_up", d.turn_run_up_deg, "every angle is reached from this far below") +
           "\n# Touches: `around` from +X towards +Y, `up` towards the spindle, both seen from the "
           "probe.\n";
  }

  std::string station_text(const PlannedStation& station) {
    std::string names;
    std::size_t first = 0;
    while (first < station.touches.size()) {
      std::size_t end = first;
      const int artefact = station.touches[first].artefact;
      std::string touches;
      while (end < station.touches.size() && station.touches[end].artefact == artefact) {
        touches +=
            "  " + touch_text(station.touches[end], machine_.artefacts[artefact].kind) + ",\n";
        ++end;
      }
      names += (names.empty() ? "" : ", ") + quoted(pattern_name({artefact, touches}));
      first = end;
    }
    std::string angles;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      angles += fmt::format("{}{} = {}", i == 0 ? "" : ", ", machine_.rotary[i].letter,
                            tidy_number(deg_from_rad(station.angles_rad[i])));
    }
    return fmt::format("[[station]]\nlabel = {}\nangles = {{ {} }}\n{}touch = [{}]\n\n",
                       quoted(station.label), angles, station.flip ? "flip = true\n" : "", names);
  }

  std::string pattern_name(const Pattern& pattern) {
    for (std::size_t i = 0; i < patterns_.size(); ++i) {
      if (patterns_[i].artefact == pattern.artefact && patterns_[i].touches == pattern.touches) {
        return name_of(i);
      }
    }
    patterns_.push_back(pattern);
    return name_of(patterns_.size() - 1);
  }

  std::string name_of(std::size_t index) const {
    return fmt::format("{} {}", machine_.artefacts[patterns_[index].artefact].name, index + 1);
  }

  std::string patterns_text() const {
    std::string text;
    for (std::size_t i = 0; i < patterns_.size(); ++i) {
      text += fmt::format(
          "[[pattern]]\nname = {}\nartefact = {}\ntouches = [\n{}]\n\n", quoted(name_of(i)),
          quoted(machine_.artefacts[patterns_[i].artefact].name), patterns_[i].touches);
    }
    return text;
  }

  std::string predictions() const {
    std::string text;
    for (const PredictedOutput& output : plan_.predicted) {
      text += fmt::format("[[predicted]]\nname = {}\nsymbol = {}\n", quoted(text_of(output.name)),
                          quoted(iso_symbol(output.name)));
      const bool angle = is_angle(output.name);
      const char* unit = angle ? "arcsec" : "um";
      const double scale = angle ? arcsec_from_rad(1.0) : 1000.0;
      text += fmt::format("U95_{0} = {1:.3f}\nU95_absolute_{0} = {2:.3f}\n\n", unit,
                          output.U95 * scale, output.U95_absolute * scale);
    }
    return text;
  }

  const Plan& plan_;
  const Machine& machine_;
  const std::string& machine_file_;
  std::vector<Pattern> patterns_;
};

class PlanParser {
 public:
  PlanParser(const std::string& file, const Machine& machine)
      : problems_(file), machine_(machine) {}

  Expected<Plan> parse(const toml::table& root) {
    TomlTable top(root, "", problems_);
    if (!kind_fits(top)) return problems_.as_failure();
    read_head(top);
    if (auto feeds = top.table("feeds", Need::optional)) read_feeds(*feeds);
    if (auto distances = top.table("distances", Need::required)) read_distances(*distances);
    for (TomlTable& pattern : top.tables("pattern", Need::required)) read_pattern(pattern);
    for (TomlTable& station : top.tables("station", Need::required)) read_station(station);
    for (TomlTable& predicted : top.tables("predicted", Need::optional)) read_predicted(predicted);
    top.refuse_unknown_keys();
    if (!problems_.empty()) return problems_.as_failure();
    return plan_;
  }

 private:
  bool kind_fits(TomlTable& top) {
    const auto format = top.integer("format", Need::required);
    const auto kind = top.text("kind", Need::required);
    if (kind && *kind != "plan") {
      top.report("kind", ProblemNumber::unsupported_format, "this file is no probing plan",
                 "give a plan written by `pivotrace plan`");
      return false;
    }
    if (format && *format != newest_format) {
      top.report("format", ProblemNumber::unsupported_format,
                 fmt::format("this plan has format {}, this program reads format {}", *format,
                             newest_format),
                 "use a newer pivotrace, or plan again");
      return false;
    }
    return true;
  }

  void read_head(TomlTable& top) {
    plan_.machine_name = machine_.name;
    if (const auto name = top.text("machine", Need::required); name && *name != machine_.name) {
      top.report("machine", ProblemNumber::other_machine,
                 fmt::format("this plan is for `{}`, the machine file describes `{}`", *name,
                             machine_.name),
                 "name the right machine file with --machine, or plan again");
    }
    top.text("machine_file", Need::optional);
    std::vector<std::string> words;
    for (const Purpose purpose : purposes) words.emplace_back(word_of(purpose));
    if (const auto word = top.choice("purpose", Need::optional, words)) {
      const auto found = std::find(words.begin(), words.end(), *word);
      plan_.purpose = purposes[static_cast<std::size_t>(found - words.begin())];
    }
    plan_.self_find = top.boolean("self_find", Need::optional).value_or(false);
    plan_.minutes = top.number("minutes", Need::optional, Sign::not_negative).value_or(0.0);
  }

  void read_feeds(TomlTable& t) {
    const auto set = [&](const char* key, double& target) {
      target = t.number(key, Need::optional, Sign::positive).value_or(target);
    };
    set("find", plan_.feeds.find);
    set("measure", plan_.feeds.measure);
    set("position", plan_.feeds.position);
    t.refuse_unknown_keys();
  }

  void read_distances(TomlTable& t) {
    ProbingDistances& d = plan_.distances;
    const auto set = [&](const char* key, double& target, Need need, Sign sign) {
      target = t.number(key, need, sign).value_or(target);
    };
    set("clearance", d.clearance, Need::optional, Sign::positive);
    set("rough", d.rough, Need::optional, Sign::not_negative);
    set("search", d.search, Need::optional, Sign::positive);
    set("approach", d.approach, Need::optional, Sign::positive);
    set("back_off", d.back_off, Need::optional, Sign::positive);
    set("lift", d.lift, Need::optional, Sign::positive);
    set("limit", d.limit, Need::optional, Sign::positive);
    set("agreement", d.agreement, Need::optional, Sign::positive);
    set("safe_height", d.safe_height, Need::required, Sign::any);
    set("turn_run_up", d.turn_run_up_deg, Need::optional, Sign::any);
    t.refuse_unknown_keys();
  }

  std::optional<int> artefact_named(TomlTable& t) {
    const auto name = t.text("artefact", Need::required);
    if (!name) return std::nullopt;
    const int index = machine_.artefact_index(*name);
    if (index >= 0) return index;
    std::vector<std::string> names;
    for (const Artefact& artefact : machine_.artefacts) names.push_back(artefact.name);
    t.report("artefact", ProblemNumber::unknown_name,
             fmt::format("the machine file has no artefact `{}`", *name),
             did_you_mean(*name, names));
    return std::nullopt;
  }

  void read_pattern(TomlTable& t) {
    const auto name = t.text("name", Need::required);
    const auto artefact = artefact_named(t);
    std::vector<PlannedTouch> touches;
    for (TomlTable& row : t.tables("touches", Need::required)) {
      touches.push_back(read_touch(row, artefact));
    }
    t.refuse_unknown_keys();
    if (!name) return;
    if (patterns_.contains(*name)) {
      t.report("name", ProblemNumber::duplicate_name,
               fmt::format("there are two patterns `{}`", *name), "give each its own name");
    }
    patterns_[*name] = std::move(touches);
  }

  PlannedTouch read_touch(TomlTable& row, std::optional<int> artefact) {
    PlannedTouch touch;
    touch.artefact = artefact.value_or(0);
    const ArtefactKind kind = artefact ? machine_.artefacts[*artefact].kind : ArtefactKind::ball;
    const bool round = kind == ArtefactKind::pin || kind == ArtefactKind::bore;
    touch.around_rad = rad_from_deg(row.number("around", Need::required).value_or(0.0));
    if (kind != ArtefactKind::flat) {
      touch.up_rad = rad_from_deg(row.number("up", Need::required).value_or(0.0));
    }
    if (round) touch.along_mm = row.number("along", Need::required).value_or(0.0);
    if (kind == ArtefactKind::flat) {
      touch.out_mm = row.number("out", Need::required, Sign::not_negative).value_or(0.0);
    }
    row.refuse_unknown_keys();
    return touch;
  }

  void read_station(TomlTable& t) {
    PlannedStation station;
    station.label =
        t.text("label", Need::optional).value_or(std::to_string(plan_.stations.size() + 1));
    if (auto angles = t.table("angles", Need::required)) {
      for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
        const std::string letter(1, machine_.rotary[i].letter);
        station.angles_rad[i] =
            rad_from_deg(angles->number(letter.c_str(), Need::required).value_or(0.0));
      }
      angles->refuse_unknown_keys();
    }
    station.flip = t.boolean("flip", Need::optional).value_or(false);
    for (const std::string& name :
         t.texts("touch", Need::required).value_or(std::vector<std::string>{})) {
      const auto found = patterns_.find(name);
      if (found == patterns_.end()) {
        std::vector<std::string> names;
        for (const auto& [known, touches] : patterns_) names.push_back(known);
        t.report("touch", ProblemNumber::unknown_name,
                 fmt::format("there is no pattern `{}`", name), did_you_mean(name, names));
        continue;
      }
      station.touches.insert(station.touches.end(), found->second.begin(), found->second.end());
    }
    t.refuse_unknown_keys();
    plan_.stations.push_back(std::move(station));
  }

  void read_predicted(TomlTable& t) {
    PredictedOutput output;
    const std::string name = t.text("name", Need::required).value_or("");
    t.text("symbol", Need::optional);  // follows from the name
    const std::optional<ValueName> named = value_named(name);
    if (!named && !name.empty()) {
      t.report("name", ProblemNumber::no_such_value,
               fmt::format("there is no value called `{}`", name),
               "plan again, or leave this [[predicted]] out");
    }
    if (named) output.name = *named;
    const bool angle = named ? is_angle(*named) : t.has("U95_arcsec");
    const char* u = angle ? "U95_arcsec" : "U95_um";
    const char* absolute = angle ? "U95_absolute_arcsec" : "U95_absolute_um";
    const double scale = angle ? rad_from_arcsec(1.0) : 0.001;
    output.U95 = scale * t.number(u, Need::required, Sign::not_negative).value_or(0.0);
    output.U95_absolute =
        scale * t.number(absolute, Need::optional, Sign::not_negative).value_or(0.0);
    t.refuse_unknown_keys();
    plan_.predicted.push_back(std::move(output));
  }

  ProblemList problems_;
  const Machine& machine_;
  Plan plan_;
  std::map<std::string, std::vector<PlannedTouch>> patterns_;
};

/// The machine file a plan names, seen from the plan's folder.
Expected<std::string> named_machine_file(const std::string& text, const std::string& path) {
  return formats::parse_toml(text, path)
      .and_then([&](const toml::table& root) -> Expected<std::string> {
        const auto* named = root.get_as<std::string>("machine_file");
        if (named == nullptr || named->get().empty()) {
          return failure({ProblemNumber::missing_key,
                          "the plan does not say which machine file it is for",
                          {path, 1, 1},
                          "add `machine_file = \"...\"`, or name it with --machine"});
        }
        const std::filesystem::path file = path_of(named->get());
        return name_of(
            file.is_absolute() ? file : (path_of(path).parent_path() / file).lexically_normal());
      });
}

}  // namespace

std::string write_plan(const Plan& plan, const Machine& machine, const std::string& machine_file) {
  return PlanWriter(plan, machine, machine_file).write();
}

Expected<Plan> parse_plan(std::string_view text, const std::string& name, const Machine& machine) {
  return formats::parse_toml(text, name).and_then([&](const toml::table& root) -> Expected<Plan> {
    return PlanParser(name, machine).parse(root);
  });
}

Expected<PlanOnMachine> read_plan(const std::string& path, const std::string& machine_file,
                                  FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk);
  if (!text) return tl::make_unexpected(text.error());
  const Expected<std::string> file =
      machine_file.empty() ? named_machine_file(*text, path) : Expected<std::string>(machine_file);
  if (!file) return tl::make_unexpected(file.error());
  Expected<Machine> machine = read_machine(*file, disk);
  if (!machine) return tl::make_unexpected(machine.error());
  Expected<Plan> plan = parse_plan(*text, path, *machine);
  if (!plan) return tl::make_unexpected(plan.error());
  return PlanOnMachine{std::move(*machine), std::move(*plan), *file};
}

}  // namespace pivotrace
