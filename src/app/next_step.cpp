#include "app/next_step.h"

#include <ostream>

#include "app/result_inputs.h"
#include "app/start.h"

namespace pivotrace::app {

namespace {

bool is_plain(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
         std::string_view("-_./=,:+@%").find(c) != std::string_view::npos ||
         static_cast<unsigned char>(c) >= 0x80;
}

std::string typed(const std::string& word) {
  bool plain = !word.empty();
  for (const char c : word) plain = plain && is_plain(c);
  return plain ? word : quoted_word(word);
}

}  // namespace

std::string command_line(const std::vector<std::string>& words) {
  std::string line = "pivotrace";
  for (const std::string& word : words) line += ' ' + typed(word);
  return line;
}

void say_next(const Console& console, const std::vector<std::string>& words) {
  console.out.flush();  // a screen that shows both streams shows this last
  console.err << "next: " << command_line(words) << '\n';
}

std::string beside(std::string_view file, std::string_view ending) {
  for (const std::string_view known : {".machine.toml", ".plan.toml", ".touches.csv",
                                       ".result.json", ".limits.toml", ".control.txt"}) {
    if (file.size() <= known.size() || !file.ends_with(known)) continue;
    return std::string(file.substr(0, file.size() - known.size())) + std::string(ending);
  }
  const std::size_t dot = file.rfind('.');
  const std::size_t slash = file.rfind('/');
  const bool in_name =
      dot != std::string_view::npos && (slash == std::string_view::npos || dot > slash + 1);
  return std::string(in_name && dot > 0 ? file.substr(0, dot) : file) + std::string(ending);
}

std::string machine_file_of(const FitResult& result, std::string_view result_file) {
  const InputFile* machine = input_named(result, "machine");
  return machine != nullptr ? machine->file : beside(result_file, ".machine.toml");
}

}  // namespace pivotrace::app
