#include "app/result_folder.h"

#include <algorithm>
#include <map>

#include "app/followed_limits.h"
#include "pivotrace/disk/file_name.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/report/history_text.h"

namespace pivotrace::app {

namespace {

constexpr const char* result_ending = ".result.json";

struct ReadResults {
  std::vector<Epoch> epochs;
  std::vector<std::string> machines;  ///< of the epochs
  std::vector<LengthUnit> units;      ///< of their machine files
  std::vector<LeftOutOfHistory> left_out;
};

ReadResults read_all(const std::vector<std::string>& files, FileCalls& disk) {
  ReadResults read;
  for (const std::string& file : files) {
    const auto result = read_result_values(file, disk);
    if (!result) {
      read.left_out.push_back(
          {file, LeftOutOfHistory::Why::unreadable, result.error().front().what});
      continue;
    }
    auto epoch = epoch_of(*result, file, read.left_out);
    if (!epoch) continue;
    read.epochs.push_back(std::move(*epoch));
    read.machines.push_back(result->machine_name);
    read.units.push_back(unit_of(*result));
  }
  return read;
}

/// The machine asked for, or the one most results name.
std::string machine_of(const ReadResults& read, const std::string& asked) {
  if (!asked.empty() || read.machines.empty()) return asked;
  std::map<std::string, int> counts;
  for (const std::string& machine : read.machines) ++counts[machine];
  return std::ranges::max_element(counts, std::less<>(), &std::pair<const std::string, int>::second)
      ->first;
}

void leave_out_others(ReadResults& read, const std::string& machine) {
  std::vector<Epoch> kept;
  std::vector<LengthUnit> units;
  for (std::size_t i = 0; i < read.epochs.size(); ++i) {
    if (read.machines[i] == machine) {
      kept.push_back(std::move(read.epochs[i]));
      units.push_back(read.units[i]);
    } else {
      read.left_out.push_back(
          {read.epochs[i].file, LeftOutOfHistory::Why::other_machine, read.machines[i]});
    }
  }
  read.epochs = std::move(kept);
  read.units = std::move(units);
}

}  // namespace

std::vector<std::string> result_files(const std::vector<std::string>& places) {
  std::vector<std::string> files;
  for (const std::string& place : places) {
    std::error_code failed;
    if (!std::filesystem::is_directory(path_of(place), failed)) {
      files.push_back(place);
      continue;
    }
    std::vector<std::string> inside;
    for (const auto& entry : std::filesystem::directory_iterator(path_of(place), failed)) {
      const std::string name = name_of(entry.path());
      if (name.ends_with(result_ending)) inside.push_back(name);
    }
    std::ranges::sort(inside);
    files.insert(files.end(), inside.begin(), inside.end());
  }
  return files;
}

Expected<FollowedResults> history_of(const std::vector<std::string>& places,
                                     const WhatToFollow& what, HistoryOptions options,
                                     const Console& console) {
  ReadResults read = read_all(result_files(places), console.disk);
  const std::string followed = machine_of(read, what.machine);
  leave_out_others(read, followed);
  if (!read.epochs.empty()) {
    const LengthUnit unit = read.units.back();
    const auto rooms = followed_limits(what.limits_file, followed, false, console);
    if (!rooms) return tl::make_unexpected(rooms.error());
    options.rooms = *rooms;
    return FollowedResults{
        make_history(followed, std::move(read.epochs), std::move(read.left_out), options), unit};
  }
  Problems problems = {{ProblemNumber::no_data,
                        "there is no usable result to make a history of",
                        {places.front(), 0, 0},
                        "give a folder of *.result.json files of one machine, or the files"}};
  for (const LeftOutOfHistory& file : read.left_out) {
    problems.push_back({ProblemNumber::no_data, left_out_text(file), {file.file, 0, 0}, ""});
  }
  return tl::make_unexpected(problems);
}

}  // namespace pivotrace::app
