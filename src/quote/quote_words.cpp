// What text, page and spreadsheet say of a quote's parts.
#include <algorithm>
#include <cstdio>
#include <utility>

#include "core/joined.hpp"
#include "quote/counts.hpp"
#include "quote/quote_text.hpp"

namespace ripplegauge {

namespace {

using Parts = std::vector<std::string>;

void add_part(Parts& parts, std::string part) {
  if (!part.empty()) parts.push_back(std::move(part));
}

std::string band_and_severity(const QuoteLine& line, const Wording& words) {
  if (line.type == LineType::spot)
    return line.band + (line.severity.empty() ? "" : ", " + words.grade(line.severity));
  return (line.band == any_word ? words("quote.any_size") : line.band) + ", " +
         (line.severity == any_word ? words("quote.any_severity") : words.grade(line.severity));
}

std::string spots_word(std::size_t count, const Wording& words) {
  return words("quote.spots", {{"count", count}});
}

/// "2 × 65.00", or nothing for a single one.
std::string times(const QuoteLine& line, const Display& display) {
  if (line.count == 1) return "";
  return display.words()("quote.times",
                         {{"count", line.count}, {"amount", display.amount(line.amount_minor / line.count)}});
}

/// "1.5 h at 80.00", where the price was worked out from hours.
std::string hours_text(const Quote& quote, const QuoteLine& line, const Display& display) {
  if (!line.hours_milli || !quote.hourly_minor) return "";
  const double hours = *line.hours_milli / 1000.0;
  int decimals = 3;
  for (int milli = *line.hours_milli; decimals > 1 && milli % 10 == 0; milli /= 10) --decimals;
  return display.words()("quote.hours", {{"hours", display.number(hours, decimals)},
                                         {"amount", display.amount(*quote.hourly_minor)}});
}

std::string rate_text(const QuoteLine& line, const Display& display) {
  return display.words()("quote.line.rate", {{"name", line.name},
                                             {"rate", display.percent(*line.rate)},
                                             {"amount", display.amount(line.of_minor.value_or(0))}});
}

std::string photo_name(const Quote& quote, int spot_photo, const Wording& words) {
  for (const JobPhoto& photo : quote.photos)
    if (photo.id == spot_photo) return photo.name;
  return words("photo.numbered", {{"id", spot_photo}});
}

bool any_line(const Quote& quote, LineType type) {
  return std::any_of(quote.lines.begin(), quote.lines.end(),
                     [&](const QuoteLine& line) { return line.type == type; });
}

/// "counts again" -> "counts_again": a job file keeps what was changed in words.
std::string key_from(std::string text) {
  std::replace(text.begin(), text.end(), ' ', '_');
  return text;
}

/// "spot 3", "photo 2", "panel roof", "job", as a job file has them.
std::string changed_thing(const std::string& what, const Wording& words) {
  const auto rest = [&](std::string_view kind) { return what.substr(kind.size()); };
  if (what.starts_with("spot ")) return words("quote.change.of_spot", {{"id", rest("spot ")}});
  if (what.starts_with("photo ")) return words("quote.change.of_photo", {{"id", rest("photo ")}});
  if (what.starts_with("panel ")) return words("quote.change.of_panel", {{"panel", rest("panel ")}});
  return what == "job" ? words("quote.change.of_job") : what;
}

/// What stood there or stands there now: the program's own words and sizes are told anew, a person's stay.
std::string changed_value(const std::string& key, const std::string& value, const Display& display) {
  constexpr std::string_view voided = "voided: ";
  const Wording& words = display.words();
  if (key == "counts again" && value.starts_with(voided))
    return words("quote.change.value.voided", {{"reason", value.substr(voided.size())}});
  if (key == "same as") return changed_thing(value, words);
  if (key == "valid until") return words.date(value);
  const bool own_words = key == "grade" || key == "pulling" || key == "diameter" || key == "length" ||
                         key == "width" || key == "depth";
  if (const std::string own = "quote.change.value." + key_from(value); own_words && words.has(own))
    return words(own);
  if (key == "diameter" || key == "length" || key == "width" || key == "depth") {
    const std::size_t to = value.find(" to ");
    if (to == std::string::npos) return words.with_decimal_mark(value);
    return words.with_decimal_mark(value.substr(0, to)) + "–" + words.with_decimal_mark(value.substr(to + 4));
  }
  return value;
}

}  // namespace

std::string quote_title(const Quote& quote, const Wording& words) {
  return quote.vehicle.empty() ? words("quote.title") : words("quote.title_of", {{"vehicle", quote.vehicle}});
}

std::string line_text(const Quote& quote, const QuoteLine& line, const Display& display) {
  const Wording& words = display.words();
  const auto of_minor = [&] { return display.amount(line.of_minor.value_or(0)); };
  switch (line.type) {
    case LineType::spot: {
      Parts parts{band_and_severity(line, words)};
      if (line.beyond_pulling) parts.push_back(words("quote.beyond_pulling"));
      add_part(parts, hours_text(quote, line, display));
      return joined(parts);
    }
    case LineType::spots: {
      Parts parts{words("quote.line.together", {{"spots", spots_word(line.spots.size(), words)},
                                                {"what", band_and_severity(line, words)}})};
      if (line.beyond_pulling) parts.push_back(words("quote.some_beyond_pulling"));
      return joined(parts);
    }
    case LineType::surcharge: {
      if (!line.rate && line.count > 1) return joined({line.name, times(line, display)});
      return words("quote.line.surcharge", {{"what", line.rate ? rate_text(line, display) : line.name},
                                            {"spots", spots_word(line.spots.size(), words)}});
    }
    case LineType::cap:
      return words("quote.line.cap", {{"amount", of_minor()}});
    case LineType::item: {
      Parts parts{line.name};
      add_part(parts, times(line, display));
      add_part(parts, hours_text(quote, line, display));
      if (line.untaxed && quote.tax) parts.push_back(words("quote.line.untaxed"));
      return joined(parts);
    }
    case LineType::minimum:
      return words("quote.line.minimum", {{"amount", of_minor()}});
    case LineType::discount:
      return line.rate ? rate_text(line, display) : line.name;
    case LineType::rounding:
      return words("quote.line.rounding", {{"amount", display.amount(quote.rounding.cash_step_minor)}});
  }
  return line.name;
}

std::vector<std::pair<std::string, std::string>> numbers_of(const Quote& quote, const Wording& words) {
  std::vector<std::pair<std::string, std::string>> numbers;
  for (const auto& [key, value] :
       {std::pair("quote.claim", quote.claim_number), std::pair("quote.number", quote.quote_number),
        std::pair("quote.valid_until", words.date(quote.valid_until))})
    if (!value.empty()) numbers.emplace_back(words(key), value);
  return numbers;
}

std::string spot_words(const QuotedSpot& spot, const Wording& words) {
  Parts parts{spot.band};
  add_part(parts, words.grade(spot.severity));
  if (spot.beyond_pulling) parts.push_back(words("quote.beyond_pulling"));
  return joined(parts);
}

std::string straddle_text(const Quote& quote, const QuotedSpot& spot, const Wording& words) {
  const std::string policy = words(std::string("quote.policy.") + to_string(quote.policy));
  if (spot.low_band && spot.mild_severity)
    return words("quote.straddle_both", {{"low", *spot.low_band},
                                         {"high", *spot.high_band},
                                         {"mild", words.grade(*spot.mild_severity)},
                                         {"worst", words.grade(*spot.worst_severity)},
                                         {"priced", spot.band + ", " + words.grade(spot.severity)},
                                         {"policy", policy}});
  const auto straddle = [&](const std::string& low, const std::string& high, const std::string& priced) {
    return words("quote.straddle", {{"low", low}, {"high", high}, {"priced", priced}, {"policy", policy}});
  };
  if (spot.low_band) return straddle(*spot.low_band, *spot.high_band, spot.band);
  if (spot.mild_severity)
    return straddle(words.grade(*spot.mild_severity), words.grade(*spot.worst_severity),
                    words.grade(spot.severity));
  return "";
}

std::string source_text(const Quote& quote, const QuotedSpot& spot, const Wording& words) {
  std::string text =
      spot.spot.by_hand() ? words("quote.by_hand") : photo_names(quote.photos, *spot.spot.photo, words);
  if (spot.spot.number_in_photo)
    text = words("quote.spot_there", {{"photo", text}, {"number", *spot.spot.number_in_photo}});
  Parts ids;
  for (const int id : spot.also_seen) ids.push_back(std::to_string(id));
  return ids.empty() ? text : words("quote.also_seen", {{"source", text}, {"spots", joined(ids)}});
}

std::string no_price_text(NoPrice reason, const Wording& words) {
  switch (reason) {
    case NoPrice::severity_not_known:
      return words("quote.no_price.severity");
    case NoPrice::beyond_pulling:
      return words("quote.no_price.beyond_pulling");
    case NoPrice::on_request:
      break;
  }
  return words("quote.no_price.on_request");
}

std::vector<std::pair<std::string, std::int64_t>> tax_rows(const Quote& quote, const Display& display) {
  std::vector<std::pair<std::string, std::int64_t>> rows;
  if (!quote.tax) return rows;
  const Wording& words = display.words();
  const auto add = [&](const std::string& tax, std::int64_t minor) {
    const bool per_line = quote.rounding.place == RoundingPlace::per_line;
    rows.emplace_back(per_line ? words("quote.tax_per_line", {{"tax", tax}}) : tax, minor);
  };
  const auto named = [&](const Tax& tax) {
    return words("quote.tax", {{"tax", tax.name}, {"rate", display.percent(tax.rate)}});
  };
  add(named(*quote.tax), quote.tax_minor - quote.second_tax_minor);
  if (!quote.second_tax) return rows;
  const Tax& second = *quote.second_tax;
  add(second.on_first
          ? words("quote.tax_on_first",
                  {{"tax", second.name}, {"rate", display.percent(second.rate)}, {"first", quote.tax->name}})
          : named(second),
      quote.second_tax_minor);
  return rows;
}

std::vector<TotalRow> total_rows(const Quote& quote, const Display& display) {
  const Wording& words = display.words();
  std::vector<TotalRow> rows;
  rows.push_back({words("quote.sum.spots"), sum_of(quote, LineType::spot) + sum_of(quote, LineType::spots)});
  for (const auto& [type, key] :
       {std::pair(LineType::surcharge, "quote.sum.surcharges"), std::pair(LineType::cap, "quote.sum.caps"),
        std::pair(LineType::item, "quote.sum.items")})
    if (any_line(quote, type)) rows.push_back({words(key), sum_of(quote, type)});
  for (const QuoteLine& line : quote.lines) {
    if (line.type != LineType::discount) continue;
    const std::string what = line_text(quote, line, display);
    rows.push_back({line.panel.empty()
                        ? words("quote.sum.discount", {{"what", what}})
                        : words("quote.sum.discount_panel", {{"panel", line.panel}, {"what", what}}),
                    line.amount_minor});
  }
  const auto add_lines = [&](LineType type) {
    for (const QuoteLine& line : quote.lines)
      if (line.type == type) rows.push_back({line_text(quote, line, display), line.amount_minor});
  };
  add_lines(LineType::minimum);
  if (quote.tax && !quote.prices_include_tax) {
    rows.push_back({words("quote.sum.subtotal"), quote.subtotal_minor});
    for (const auto& [text, minor] : tax_rows(quote, display)) rows.push_back({text, minor});
  }
  add_lines(LineType::rounding);
  rows.push_back({words(quote.partial() ? "quote.total_partial" : "quote.total"), quote.total_minor, true});
  if (quote.tax && quote.prices_include_tax)
    for (const auto& [text, minor] : tax_rows(quote, display))
      rows.push_back({words("quote.tax_included", {{"tax", text}}), minor});
  return rows;
}

std::string partial_text(const Quote& quote, const Wording& words) {
  const NotMeasured& missing = quote.not_measured;
  Parts parts;
  if (!missing.photos.empty())
    parts.push_back(
        words("quote.partial.photos", {{"refused", missing.photos.size()}, {"tried", missing.photos_tried}}));
  if (missing.photos_to_do > 0)
    parts.push_back(words("quote.partial.to_do", {{"count", missing.photos_to_do}}));
  if (!missing.panels.empty())
    parts.push_back(words("quote.partial.panels", {{"panels", joined(missing.panels)}}));
  return parts.empty() ? "" : words("quote.partial", {{"parts", joined(parts, "; ")}});
}

std::vector<MissingPart> missing_parts(const Quote& quote, const Wording& words) {
  std::vector<MissingPart> parts;
  for (const JobPhoto& photo : quote.not_measured.photos) {
    const bool named_by_panel = photo.name.starts_with(photo.panel + "/");
    parts.push_back({photo.panel, named_by_panel ? photo.name.substr(photo.panel.size() + 1) : photo.name,
                     photo.refusal ? words.finding(photo.refusal->code, photo.refusal->message)
                                   : words("quote.missing.photo")});
  }
  for (const std::string& panel : quote.not_measured.panels)
    parts.push_back({panel, words("quote.missing.panel"), words("quote.missing.panel_why")});
  if (quote.not_measured.photos_to_do > 0)
    parts.push_back({"", words("quote.missing.photos", {{"count", quote.not_measured.photos_to_do}}),
                     words("quote.missing.photos_why")});
  return parts;
}

std::string warning_text(const Quote& quote, const JobWarning& warning, const Wording& words) {
  Parts about, spots;
  for (const int photo : warning.photos) about.push_back(photo_name(quote, photo, words));
  for (const int spot : warning.spots) spots.push_back(std::to_string(spot));
  if (!spots.empty())
    about.push_back(words("quote.warning.spots", {{"count", spots.size()}, {"spots", joined(spots)}}));
  return words("quote.warning",
               {{"message", words.finding(warning.code, warning.message)}, {"about", joined(about)}});
}

std::string hand_text(const Quote& quote, const QuotedSpot& spot, const Display& display) {
  if (!spot.spot.measured) return "";
  const Wording& words = display.words();
  const AsMeasured& measured = *spot.spot.measured;
  Parts parts{display.millimetres(measured.diameter_mm)};
  if (measured.length_mm && measured.length_mm != spot.spot.length_mm)
    parts.push_back(words("quote.size.length", {{"size", display.millimetres(*measured.length_mm)}}));
  if (measured.depth_mm && measured.depth_mm != spot.spot.depth_mm)
    parts.push_back(depth_text(spot.spot.kind, *measured.depth_mm, display));
  add_part(parts, words.grade(measured.severity));
  if (measured.beyond_pulling) parts.push_back(words("quote.beyond_pulling"));
  std::string why;
  for (const JobChange& change : quote.changes)
    if (change.what == "spot " + std::to_string(spot.spot.id) && change.key != "voided" &&
        !change.why.empty())
      why = change.why;
  const std::string text = words("quote.changed.measured", {{"measured", joined(parts)}});
  return why.empty() ? text : words("quote.changed.measured_why", {{"measured", text}, {"why", why}});
}

std::string change_text(const JobChange& change, const Display& display) {
  const Wording& words = display.words();
  const std::string known = "quote.change.key." + key_from(change.key);
  const std::string key = words.has(known) ? words(known) : change.key;
  const std::string from = changed_value(change.key, change.from, display),
                    to = changed_value(change.key, change.to, display);
  std::string text = key;
  if (!from.empty() && !to.empty())
    text = words("quote.change.from_to", {{"key", key}, {"from", from}, {"to", to}});
  else if (!from.empty())
    text = words("quote.change.from", {{"key", key}, {"from", from}});
  else if (!to.empty())
    text = words("quote.change.to", {{"key", key}, {"to", to}});
  text = words(
      "quote.change",
      {{"date", words.date(change.date)}, {"what", changed_thing(change.what, words)}, {"change", text}});
  if (!change.why.empty()) text = words("quote.change.because", {{"change", text}, {"why", change.why}});
  return change.who.empty() ? words("quote.change.nobody", {{"change", text}})
                            : words("quote.change.who", {{"change", text}, {"who", change.who}});
}

std::string depth_text(Kind kind, const Quantity& depth_mm, const Display& display) {
  return display.words()(kind == Kind::high ? "quote.size.high" : "quote.size.deep",
                         {{"size", display.fine_millimetres(depth_mm)}});
}

std::string span_text(const Quote& quote, const Display& display) {
  const auto uncertain = std::count_if(quote.spots.begin(), quote.spots.end(), [](const QuotedSpot& spot) {
    return spot.low_band || spot.mild_severity;
  });
  if (uncertain == 0) return "";
  const auto total = [&](const std::optional<std::int64_t>& minor) {
    return minor ? display.money(*minor) : display.words()("quote.span.not_known");
  };
  return display.words()("quote.span", {{"count", static_cast<int>(uncertain)},
                                        {"lower", total(quote.total_lower_minor)},
                                        {"upper", total(quote.total_upper_minor)}});
}

std::string unpriced_text(const Quote& quote, const Wording& words) {
  return quote.unpriced.empty() ? "" : words("quote.no_price", {{"count", quote.unpriced.size()}});
}

std::string beyond_pulling_text(const Quote& quote, const Wording& words) {
  const bool any = std::any_of(quote.spots.begin(), quote.spots.end(),
                               [](const QuotedSpot& spot) { return spot.beyond_pulling; });
  return any ? words("quote.beyond_note") : "";
}

}  // namespace ripplegauge
