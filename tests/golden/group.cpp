#include "golden/group.h"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <map>
#include <optional>
#include <set>
#include <sstream>

#include "golden/compare.h"
#include "golden/normalise.h"
#include "golden/program.h"
#include "golden/run_list.h"

namespace fs = std::filesystem;

namespace pivotrace::golden {

namespace {

constexpr std::size_t most_lines_shown = 12;

using Files = std::map<std::string, std::string>;  ///< path inside the folder, with '/' -> bytes

std::optional<std::string> bytes_of(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  if (!stream) return std::nullopt;
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

void write_bytes(const fs::path& file, const std::string& bytes) {
  std::ofstream stream(file, std::ios::binary);
  stream << bytes;
}

Files files_in(const fs::path& folder) {
  Files files;
  for (const fs::directory_entry& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file()) continue;
    files[fs::relative(entry.path(), folder).generic_string()] =
        bytes_of(entry.path()).value_or("<cannot be read>");
  }
  return files;
}

std::string with_line_end(const std::string& text) {
  if (text.empty() || text.back() == '\n') return text;
  return text + "\n\\ no line end\n";
}

/// Runs the commands of a group one after the other and writes down what each does.
class Recorder {
 public:
  explicit Recorder(const Places& places)
      : places_(places), work_(places.scratch / "work"), notes_(places.scratch / "notes") {
    fs::remove_all(places.scratch);
    fs::create_directories(work_);
    fs::create_directories(notes_ / "home");
    for (const fs::path& given : places.given) copy_files(given);
    hide_user_settings(notes_ / "home");
    fs::current_path(work_);
    pass_ = {folders(), utc_digits()};
  }

  tl::expected<Transcript, std::string> record(const Run& run) {
    Transcript transcript{run.name, "", {}};
    for (const Command& command : run.commands) {
      for (const MadeFile& made : command.made) {
        if (const std::string problem = make(made); !problem.empty()) {
          return tl::make_unexpected("run " + run.name + ": " + problem);
        }
      }
      record(command, transcript);
    }
    return transcript;
  }

 private:
  /// The control sheets are looked for at home, beside the program, and above it.
  std::vector<std::pair<std::string, std::string>> folders() const {
    const fs::path program = fs::path(places_.program.back()).parent_path();
    std::vector<std::pair<std::string, std::string>> all = {
        {fs::current_path().string(), "<folder>"},
        {fs::canonical(notes_ / "home").string(), "<home>"},
        {program.string(), "<program>"},
        {program.parent_path().string(), "<above the program>"}};
    // Behind a launcher for Windows the root of this computer is a drive.
    for (std::size_t i = 0, count = all.size(); i < count; ++i) {
      all.emplace_back("Z:" + all[i].first, all[i].second);
    }
    std::stable_sort(all.begin(), all.end(),
                     [](const auto& a, const auto& b) { return a.first.size() > b.first.size(); });
    return all;
  }

  void copy_files(const fs::path& given) const {
    if (!fs::is_directory(given)) {
      fs::copy_file(given, work_ / given.filename());
      return;
    }
    for (const fs::directory_entry& entry : fs::directory_iterator(given)) {
      if (entry.is_regular_file()) copy_files(entry.path());
    }
  }

  std::string make(const MadeFile& made) const {
    const std::optional<std::string> from = bytes_of(work_ / made.from);
    if (!from) return made.name + " is to be made from " + made.from + ", which is not there";
    const auto text = edited(*from, made.edits);
    if (!text) return made.name + " cannot be made from " + made.from + ": " + text.error();
    write_bytes(work_ / made.name, *text);
    return "";
  }

  void record(const Command& command, Transcript& transcript) {
    const Files before = files_in(work_);
    const Said said = run_program(places_.program, command.words, notes_);
    transcript.text += fmt::format("$ pivotrace {}\n", command.text);
    add(transcript, "out", said.out);
    add(transcript, "err", said.err);
    add_files(transcript, before, files_in(work_));
    transcript.text += fmt::format("==== exit {}\n\n", said.exit_code);
    if (said.exit_code != command.exit_code) {
      transcript.wrong_exits.push_back(fmt::format("pivotrace {}\n    ended with {}, not {}: {}",
                                                   command.text, said.exit_code, command.exit_code,
                                                   said.err));
    }
  }

  void add(Transcript& transcript, const std::string& what, const std::string& text) const {
    if (text.empty()) return;
    transcript.text += fmt::format("==== {}\n{}", what, with_line_end(normalised(text, pass_)));
  }

  /// A file made anew with the same content is in an earlier text already.
  void add_files(Transcript& transcript, const Files& before, const Files& after) const {
    for (const auto& [name, bytes] : after) {
      const auto old = before.find(name);
      if (old != before.end() &&
          (old->second == bytes || normalised(old->second, pass_) == normalised(bytes, pass_))) {
        continue;
      }
      const std::string what = (old == before.end() ? "new file " : "changed file ") + name;
      add(transcript, normalised(what, pass_), bytes.empty() ? "\n" : bytes);
    }
    for (const auto& [name, bytes] : before) {
      if (!after.contains(name)) transcript.text += "==== file gone: " + name + '\n';
    }
  }

  const Places& places_;
  fs::path work_;
  fs::path notes_;
  Pass pass_;
};

std::string file_name(const Transcript& transcript) { return transcript.run + ".txt"; }

/// Texts kept of runs that the list does not have.
std::vector<fs::path> left_over(const Places& places, const std::vector<Transcript>& transcripts) {
  std::set<std::string> known;
  for (const Transcript& one : transcripts) known.insert(file_name(one));
  std::vector<fs::path> others;
  if (!fs::exists(places.expected)) return others;
  for (const fs::directory_entry& entry : fs::directory_iterator(places.expected)) {
    if (!known.contains(entry.path().filename().string())) others.push_back(entry.path());
  }
  return others;
}

}  // namespace

tl::expected<std::vector<Transcript>, std::string> run_group(const Places& places) {
  const std::optional<std::string> list = bytes_of(places.list);
  if (!list) return tl::make_unexpected("cannot read " + places.list.string());
  const auto runs = read_run_list(*list);
  if (!runs) return tl::make_unexpected(places.list.string() + ": " + runs.error());
  Recorder recorder(places);
  std::vector<Transcript> transcripts;
  for (const Run& run : *runs) {
    auto transcript = recorder.record(run);
    if (!transcript) return tl::make_unexpected(places.list.string() + ": " + transcript.error());
    transcripts.push_back(*std::move(transcript));
  }
  return transcripts;
}

std::string differences(const Places& places, const std::vector<Transcript>& transcripts) {
  std::string report;
  for (const Transcript& one : transcripts) {
    for (const std::string& wrong : one.wrong_exits) {
      report += fmt::format("run {}: {}\n", one.run, wrong);
    }
    const fs::path file = places.expected / file_name(one);
    const std::optional<std::string> kept = bytes_of(file);
    if (!kept) {
      report += fmt::format("run {}: no text is kept, {} is missing\n", one.run, file.string());
      continue;
    }
    const auto changes = compare_texts(*kept, one.text, places.tolerance);
    if (changes.empty()) continue;
    report += fmt::format("run {}: not as {} says\n{}", one.run, file.string(),
                          describe(changes, most_lines_shown));
  }
  for (const fs::path& file : left_over(places, transcripts)) {
    report += fmt::format("{} belongs to no run of {}\n", file.string(), places.list.string());
  }
  return report;
}

std::string update(const Places& places, const std::vector<Transcript>& transcripts) {
  std::string done;
  fs::create_directories(places.expected);
  for (const Transcript& one : transcripts) {
    const fs::path file = places.expected / file_name(one);
    const std::optional<std::string> kept = bytes_of(file);
    if (kept && compare_texts(*kept, one.text, places.tolerance).empty()) continue;
    write_bytes(file, one.text);
    done += fmt::format("{} {}\n", kept ? "changed" : "new", file.string());
  }
  for (const fs::path& file : left_over(places, transcripts)) {
    fs::remove(file);
    done += fmt::format("gone {}\n", file.string());
  }
  return done;
}

}  // namespace pivotrace::golden
