// Photos of a folder and the panel of each: by sub-folder, by a pattern of the file's name, or by the folder
// itself. A pattern is matched by a table over its pieces and the name's letters, so that any pattern costs
// little.
#include "files/photo_folder.hpp"

#include <algorithm>
#include <array>
#include <string_view>

#include "ripplegauge/core/errors.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

namespace fs = std::filesystem;

constexpr std::string_view panel_mark = "{panel}";
constexpr std::string_view usual_pattern = "{panel}-#";
constexpr std::size_t longest_panel_bytes = 200;  // as a job file has it

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c & 0x80) != 0; }

/// What a pattern is made of.
struct Piece {
  enum Kind { literal, anything, number, panel };
  Kind kind = literal;
  char character = 0;  ///< of a literal

  bool takes(char c) const {
    if (kind == literal) return c == character;
    return kind != number || (c >= '0' && c <= '9');
  }
};

std::vector<Piece> pieces_of(std::string_view pattern, std::size_t mark) {
  std::vector<Piece> pieces;
  for (std::size_t i = 0; i < pattern.size(); ++i) {
    if (i == mark) {
      pieces.push_back({Piece::panel});
      i += panel_mark.size() - 1;
    } else if (pattern[i] == '*') {
      pieces.push_back({Piece::anything});
    } else if (pattern[i] == '#') {
      pieces.push_back({Piece::number});
    } else {
      pieces.push_back({Piece::literal, pattern[i]});
    }
  }
  return pieces;
}

/// [piece][at]: whether the pieces from there on fit the rest of the name from there on. A table rather than
/// trial and error, which would take for ever with several *.
using FitTable = std::vector<std::vector<bool>>;

FitTable fits_of(const std::vector<Piece>& pieces, std::string_view name) {
  FitTable fits(pieces.size() + 1, std::vector<bool>(name.size() + 1, false));
  fits[pieces.size()][name.size()] = true;
  for (std::size_t p = pieces.size(); p-- > 0;)
    for (std::size_t at = name.size() + 1; at-- > 0;) {
      const bool takes = at < name.size() && pieces[p].takes(name[at]);
      const bool goes_on = takes && pieces[p].kind != Piece::literal && fits[p][at + 1];
      const bool takes_nothing = pieces[p].kind == Piece::anything && fits[p + 1][at];
      fits[p][at] = takes_nothing || goes_on || (takes && fits[p + 1][at + 1]);
    }
  return fits;
}

/// As far as the piece can reach from `at` so that the rest still fits, where it is known that it does.
std::size_t longest_end(const Piece& piece, std::string_view name, std::size_t at,
                        const std::vector<bool>& rest_fits) {
  std::size_t end = at;
  for (std::size_t reach = at; reach < name.size() && piece.takes(name[reach]);) {
    if (rest_fits[++reach]) end = reach;
    if (piece.kind == Piece::literal) break;
  }
  return end;
}

bool is_hidden(const fs::path& file) { return file.filename().string().starts_with('.'); }

/// The annotated pictures of a job, beside it: they show a card and would be measured once more.
bool holds_pictures_of_job(const fs::path& folder) {
  constexpr std::string_view ending = "-pictures";
  const std::string name = folder.filename().string();
  std::error_code ignored;
  return name.ends_with(ending) &&
         fs::exists(folder.parent_path() / (name.substr(0, name.size() - ending.size()) + ".json"), ignored);
}

/// A link that leads nowhere is a photo that cannot be read, which somebody should hear of; a pipe is
/// nothing.
bool may_be_file(const fs::directory_entry& entry) {
  std::error_code ignored;
  const fs::file_type type = entry.status(ignored).type();
  return type == fs::file_type::regular || type == fs::file_type::not_found;
}

/// The folder's own name, also where it was given as "." or with a slash at its end.
std::string name_of_folder(const fs::path& folder) {
  std::error_code error;
  const fs::path whole = fs::weakly_canonical(folder, error);
  return (error ? folder : whole).filename().string();
}

std::string panel_by_place(const fs::path& folder, const fs::path& inside) {
  if (inside.has_parent_path()) return inside.begin()->string();
  const auto named = panel_from_name(usual_pattern, inside.stem().string());
  // A camera that numbers by date and time writes such names, too; a panel has letters.
  if (named && std::any_of(named->begin(), named->end(), is_letter)) return *named;
  return name_of_folder(folder);
}

FolderPhoto photo_at(const fs::path& folder, const fs::path& file, const PhotoFolderOptions& options) {
  const fs::path inside = file.lexically_relative(folder);
  FolderPhoto photo{file, inside.generic_string(), "", ""};
  std::string panel;
  if (options.panel_pattern.empty())
    panel = panel_by_place(folder, inside);
  else if (const auto named = panel_from_name(options.panel_pattern, inside.stem().string()))
    panel = *named;
  else
    photo.trouble = "its name does not fit the pattern " + options.panel_pattern;
  if (!is_utf8(panel) || printable(panel) != panel)
    photo.trouble = "its panel's name has bytes in it that are no text";
  else if (panel.size() > longest_panel_bytes)
    photo.trouble = "its panel's name is longer than " + std::to_string(longest_panel_bytes) + " bytes";
  else
    photo.panel = panel;
  return photo;
}

}  // namespace

bool has_photo_ending(const fs::path& file) {
  std::string ending = file.extension().string();
  for (char& c : ending)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  constexpr std::array<std::string_view, 6> endings = {".jpg", ".jpeg", ".png", ".heic", ".heif", ".hif"};
  return std::find(endings.begin(), endings.end(), ending) != endings.end();
}

fs::path photo_beside(const std::string& photo_name, const fs::path& reading_file) {
  const fs::path named(photo_name);
  std::error_code ignored;
  for (const fs::path& candidate :
       {named, reading_file.parent_path() / named, reading_file.parent_path() / named.filename()})
    if (!photo_name.empty() && fs::is_regular_file(candidate, ignored)) return candidate;
  return {};
}

std::optional<std::string> panel_from_name(std::string_view pattern, std::string_view name) {
  const std::size_t mark = pattern.find(panel_mark);
  if (mark == std::string_view::npos || pattern.find(panel_mark, mark + 1) != std::string_view::npos)
    throw UsageError("the panel pattern \"" + std::string(pattern) +
                     "\" must have {panel} in it once, such as {panel}-#");
  const std::vector<Piece> pieces = pieces_of(pattern, mark);
  const FitTable fits = fits_of(pieces, name);
  if (!fits[0][0]) return std::nullopt;

  std::string_view panel;
  for (std::size_t piece = 0, at = 0; piece < pieces.size(); ++piece) {
    const std::size_t end = longest_end(pieces[piece], name, at, fits[piece + 1]);
    if (pieces[piece].kind == Piece::panel) panel = name.substr(at, end - at);
    at = end;
  }
  const auto first = panel.find_first_not_of(' '), last = panel.find_last_not_of(' ');
  if (first == std::string_view::npos) return std::nullopt;
  return std::string(panel.substr(first, last - first + 1));
}

std::vector<FolderPhoto> photos_in(const fs::path& folder, const PhotoFolderOptions& options) {
  if (!options.panel_pattern.empty()) panel_from_name(options.panel_pattern, "");  // refuses a senseless one
  std::vector<FolderPhoto> photos;
  fs::path reached = folder;  // an error from within the iteration names no folder itself
  try {
    std::error_code ignored;
    const fs::path left_out = fs::weakly_canonical(options.leave_out, ignored);
    for (auto entry = fs::recursive_directory_iterator(folder); entry != fs::recursive_directory_iterator();
         ++entry) {
      const fs::path& path = reached = entry->path();
      if (entry->is_directory()) {
        const bool is_left_out = !left_out.empty() && fs::weakly_canonical(path, ignored) == left_out;
        if (is_hidden(path) || is_left_out || holds_pictures_of_job(path)) entry.disable_recursion_pending();
      } else if (!is_hidden(path) && has_photo_ending(path) && may_be_file(*entry)) {
        photos.push_back(photo_at(folder, path, options));
      }
    }
  } catch (const fs::filesystem_error& error) {
    throw FileError((error.path1().empty() ? reached : error.path1()).string(),
                    "the folder cannot be read: " + error.code().message());
  }
  std::sort(photos.begin(), photos.end(),
            [](const FolderPhoto& a, const FolderPhoto& b) { return a.name < b.name; });
  return photos;
}

}  // namespace ripplegauge
