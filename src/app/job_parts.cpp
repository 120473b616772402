// What becomes of readings in a job: graded by the rules, noted.
#include "app/job_parts.hpp"

#include <algorithm>
#include <iomanip>
#include <sstream>

#include "files/camera_profile_file.hpp"
#include "photo/file_hash.hpp"
#include "ripplegauge/json/board_file.hpp"

namespace ripplegauge {

namespace fs = std::filesystem;

namespace {

/// "Body line" -> "body_line": the rules' words for what people write.
std::string word_of(std::string fact) {
  for (char& c : fact) {
    if (c == ' ' || c == '-') c = '_';
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  if (fact == "no_access") return "closed";
  if (fact == "ceramic_coating") return "ceramic";
  return fact;
}

template <class E>
void take(const std::string& word, E& value) {
  if (const auto known = from_word<E>(word); known && *known != E::unknown) value = *known;
}

PanelFacts known_facts(const std::vector<std::string>& facts, PanelFacts known) {
  for (const std::string& fact : facts) {
    const std::string word = word_of(fact);
    take(word, known.material);
    take(word, known.paint);
    take(word, known.coating);
    take(word, known.place);
    take(word, known.access);
  }
  return known;
}

/// Both included; none where the two are one.
std::vector<std::string> grades_between(const SeverityRules& rules, const std::string& mildest,
                                        const std::string& worst) {
  const auto first = rules.grade_index(mildest), last = rules.grade_index(worst);
  if (!first || !last || *first >= *last) return {};
  return {rules.grades.begin() + *first, rules.grades.begin() + *last + 1};
}

void judge(const Job& job, const Dent& dent, const SeverityRules& rules, const PanelFacts& otherwise,
           JobSpot& spot) {
  const SeverityAssessment assessment =
      assess_severity(dent, known_facts(facts_of(job, spot), otherwise), rules);
  const bool has_grade =
      std::find(rules.grades.begin(), rules.grades.end(), spot.severity) != rules.grades.end();
  if (!has_grade) {  // also where a reading says in words that it has none
    spot.severity = assessment.grade ? assessment.word : "";
    spot.severity_reason = assessment.reason;
  }
  spot.severities_allowed = grades_between(rules, assessment.word, assessment.worst_word);
  spot.beyond_pulling = assessment.beyond_pulling();
  if (!spot.beyond_pulling) return;
  for (const Doubt& doubt : assessment.doubts) add_note(spot.notes, doubt.text);
}

/// Which version wrote a board or camera says nothing about it: photos need not be measured again for that.
std::string without_program(std::string json) {
  const auto at = json.find("  \"program\":");
  return at == std::string::npos ? json : json.erase(at, json.find('\n', at) + 1 - at);
}

/// The first eight digits tell apart what one workshop has.
std::string short_hash(const std::string& text) { return sha256_of_bytes(text).substr(0, 8); }

std::string hash_of(const CardDefinition& card) {
  std::ostringstream text;
  text << card.tag_side_mm << ' ' << card.bar_nominal_mm;
  for (const CardTag& tag : card.tags) text << ' ' << tag.id << ' ' << tag.x_mm << ' ' << tag.y_mm;
  for (const RectangleMm& part : card.paper)
    text << ' ' << part.x0_mm << ' ' << part.y0_mm << ' ' << part.x1_mm << ' ' << part.y1_mm;
  return short_hash(text.str());
}

}  // namespace

PanelFacts facts_of_panel(const Job& job, const std::string& panel, const PanelFacts& otherwise) {
  for (const JobPanel& one : job.panels)
    if (same_name(one.name, panel)) return known_facts(one.facts, otherwise);
  return otherwise;
}

AddedReading add_judged_reading(Job& job, const std::string& panel, const Reading& reading,
                                const Provenance& from, const SeverityRules& rules,
                                const PanelFacts& otherwise) {
  AddedReading added = add_reading(job, panel, reading, from);
  for (std::size_t i = 0; i < added.spots.size(); ++i)
    judge(job, reading.dents[i], rules, otherwise, spot_with_id(job, added.spots[i]));
  return added;
}

void add_note(std::string& notes, const std::string& note) {
  if (!note.empty()) notes += (notes.empty() ? "" : "; ") + note;
}

std::string values_text(const MeasureRequest& request) {
  std::ostringstream text;
  text << std::setprecision(10) << "stripes ";
  if (request.board)
    text << request.board->pitch_mm << " mm (" << request.board->name << ' '
         << short_hash(without_program(board_to_json(*request.board))) << ')';
  else
    text << request.board_pitch_mm << " mm";
  if (request.board_distance_mm) text << ", tape " << *request.board_distance_mm << " mm";
  text << ", bar " << request.bar_length_mm << " mm, " << request.card.name << ' ' << hash_of(request.card);
  if (request.camera)
    text << ", camera " << short_hash(without_program(camera_profile_to_json(*request.camera)));
  return text.str();
}

std::string relative_to_job(const fs::path& file, const fs::path& job_file) {
  std::error_code error;
  const fs::path folder = fs::absolute(job_file, error).parent_path();
  const fs::path relative = fs::proximate(fs::absolute(file, error), folder, error);
  return (error ? file : relative).generic_string();
}

}  // namespace ripplegauge
