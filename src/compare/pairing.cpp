// Shots of a folder are grouped by words in their names (before, after), else by the time between them.
#include "compare/pairing.hpp"

#include <algorithm>
#include <cctype>
#include <map>
#include <optional>

#include "compare/photo_time.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

bool is_letter(char c) {
  return std::isalpha(static_cast<unsigned char>(c)) != 0 || static_cast<unsigned char>(c) >= 0x80;
}

std::string stem(const std::string& file) {
  const auto dot = file.rfind('.');
  return dot == std::string::npos || dot == 0 ? file : file.substr(0, dot);
}

/// Where the word stands by itself.
std::optional<std::size_t> find_word(const std::string& text, const std::string& word) {
  for (auto at = text.find(word); at != std::string::npos; at = text.find(word, at + 1)) {
    const auto end = at + word.size();
    if ((at == 0 || !is_letter(text[at - 1])) && (end == text.size() || !is_letter(text[end]))) return at;
  }
  return std::nullopt;
}

/// What the name says: the place, whether it is before or after, and a number behind the word ("after2").
struct NameParts {
  std::string place;
  bool after = false;
  long number = 0;
};

std::optional<NameParts> parts_of(const std::string& file, const PairingOptions& options) {
  const std::string name = lower_case(stem(file));
  for (const bool after : {false, true}) {
    for (const std::string& word : after ? options.after_words : options.before_words) {
      const auto at = word.empty() ? std::nullopt : find_word(name, lower_case(word));
      if (!at) continue;
      std::size_t end = *at + word.size();
      const auto is_digit = [&](std::size_t i) {
        return i < name.size() && std::isdigit(static_cast<unsigned char>(name[i])) != 0;
      };
      std::size_t digit = end;
      // One separator may stand between the word and its number, but only if nothing else follows: in
      // "after-door-3" the number belongs to the place.
      if (!is_digit(digit) && is_digit(digit + 1)) ++digit;
      std::size_t digits_end = digit;
      while (is_digit(digits_end) && digits_end - digit < 9) ++digits_end;
      NameParts parts{"", after, 0};
      if (digits_end > digit && (digit == end || digits_end == name.size())) {
        parts.number = std::stol(name.substr(digit, digits_end - digit));
        end = digits_end;
      }
      for (const char c : name.substr(0, *at) + " " + name.substr(end))  // separators say nothing
        if (is_letter(c) || std::isdigit(static_cast<unsigned char>(c)) != 0)
          parts.place += c;
        else if (!parts.place.empty() && parts.place.back() != ' ')
          parts.place += ' ';
      while (!parts.place.empty() && parts.place.back() == ' ') parts.place.pop_back();
      return parts;
    }
  }
  return std::nullopt;
}

struct Named {
  std::size_t shot = 0;
  NameParts parts;
};

void pair_by_name(const std::vector<Shot>& shots, const std::map<std::string, std::vector<Named>>& places,
                  const Wording& words, Pairing& pairing) {
  for (auto [place, named] : places) {
    std::stable_sort(named.begin(), named.end(), [](const Named& a, const Named& b) {
      return std::pair(a.parts.after, a.parts.number) < std::pair(b.parts.after, b.parts.number);
    });
    const auto befores =
        std::count_if(named.begin(), named.end(), [](const Named& n) { return !n.parts.after; });
    std::string problem;
    if (befores == 0) problem = "compare.left_over.no_before";
    if (befores > 1) problem = "compare.left_over.several_before";
    if (static_cast<std::size_t>(befores) == named.size()) problem = "compare.left_over.no_after";
    ShotGroup group{place, {}, words("compare.pair.file_names")};
    for (const Named& n : named) {
      if (problem.empty())
        group.shots.push_back(n.shot);
      else
        pairing.left_over.push_back(words(problem, {{"file", shots[n.shot].file}}));
    }
    if (problem.empty()) pairing.groups.push_back(std::move(group));
  }
}

void pair_by_time(const std::vector<Shot>& shots, std::vector<std::size_t> unnamed, double most_minutes,
                  const Wording& words, Pairing& pairing) {
  std::erase_if(unnamed, [&](std::size_t shot) {
    if (photo_time(shots[shot].date_taken)) return false;
    pairing.left_over.push_back(words("compare.left_over.no_time", {{"file", shots[shot].file}}));
    return true;
  });
  std::stable_sort(unnamed.begin(), unnamed.end(), [&](std::size_t a, std::size_t b) {
    return photo_time(shots[a].date_taken) < photo_time(shots[b].date_taken);
  });
  for (std::size_t i = 0; i < unnamed.size(); ++i) {
    const Shot& shot = shots[unnamed[i]];
    if (i + 1 < unnamed.size() &&
        *minutes_between(shot.date_taken, shots[unnamed[i + 1]].date_taken) <= most_minutes) {
      pairing.groups.push_back({stem(shot.file), {unnamed[i], unnamed[i + 1]}, words("compare.pair.time")});
      ++i;
    } else {
      pairing.left_over.push_back(words("compare.left_over.no_shot", {{"file", shot.file}}));
    }
  }
}

}  // namespace

Pairing pair_shots(const std::vector<Shot>& shots, const PairingOptions& options, const Wording& words) {
  std::map<std::string, std::vector<Named>> places;
  std::vector<std::size_t> unnamed;
  for (std::size_t i = 0; i < shots.size(); ++i) {
    if (const auto parts = parts_of(shots[i].file, options))
      places[parts->place].push_back({i, *parts});
    else
      unnamed.push_back(i);
  }
  Pairing pairing;
  pair_by_name(shots, places, words, pairing);
  pair_by_time(shots, unnamed, options.most_minutes, words, pairing);
  return pairing;
}

}  // namespace ripplegauge
