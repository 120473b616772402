// Each stage of a reading and the whole, over photo size and number of dents, so that growth shows:
//   build/tests/ripplegauge_bench --benchmark_filter=find_spots
// Sample photos are enlarged to the size asked for, which is enough to see growth; the figures in
// src/guide/performance.md come from photos ray-traced at full size (ratios.sh).
#include <benchmark/benchmark.h>

#include <cmath>
#include <fstream>
#include <iterator>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <string>
#include <utility>

#include "dents/spot_search.hpp"
#include "measure/photo_look.hpp"
#include "measure/spot_reading.hpp"
#include "picture/picture.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/photo/photo.hpp"

using namespace ripplegauge;

namespace {

const std::string root = RIPPLEGAUGE_SOURCE_DIR;

std::string sample_with(std::int64_t dents) {
  static const std::map<std::int64_t, std::string> names = {{0, "no-dent"}, {1, "low-dark"}, {5, "hail"}};
  return root + "/samples/photos/" + names.at(dents);
}

/// What every stage needs of the stages before it.
struct Prepared {
  Photo photo;
  MeasureRequest request;
  PhotoLook look;
  BundleProblem before_stripes;  ///< with the tags alone
  PanelScene scene;
  SpotSearchResult found;

  PanelRegion region() const {
    return region_around_card(request.card, look.problem.card_scale, bundle_margin_mm);
  }
};

void must(bool condition, const char* what) {
  if (!condition) throw std::runtime_error(std::string("the sample photo does not get as far as ") + what);
}

Photo enlarged(const std::string& file, double megapixels) {
  Photo photo = read_photo(file);
  const double factor = std::sqrt(megapixels * 1e6 / static_cast<double>(photo.grey.total()));
  if (factor > 1) cv::resize(photo.grey, photo.grey, {}, factor, factor, cv::INTER_CUBIC);
  return photo;
}

MeasureRequest request_for(const std::string& sample) {
  std::ifstream in(sample + ".json");
  const auto given = nlohmann::json::parse(in).at("given");
  MeasureRequest request;
  request.card = read_card(root + "/calibration/card-corner.json");
  request.board_pitch_mm = given.at("board_pitch_mm").get<double>();
  request.board_distance_mm = given.at("board_distance_mm").get<double>();
  request.bar_length_mm = given.at("check_bar_mm").get<double>();
  return request;
}

std::unique_ptr<Prepared> prepare(std::int64_t megapixels, std::int64_t dents) {
  auto p = std::make_unique<Prepared>();
  p->photo = enlarged(sample_with(dents) + ".jpg", static_cast<double>(megapixels));
  p->request = request_for(sample_with(dents));
  p->look = look_at_photo(p->photo, p->request, {});
  must(!p->look.reading.refusal, "its dents");
  p->before_stripes = p->look.problem;
  p->before_stripes.samples.clear();
  p->scene = {&p->photo.grey, &p->look.problem, p->look.field.bundle.parameters, &p->look.residual,
              p->look.pixels_per_mm};
  p->found = find_spots(p->scene);
  must(p->found.spots.size() == static_cast<std::size_t>(dents), "all of its dents");
  return p;
}

/// Of the arguments of a benchmark: made once.
Prepared& prepared(const benchmark::State& state) {
  static std::map<std::pair<std::int64_t, std::int64_t>, std::unique_ptr<Prepared>> all;
  auto& one = all[{state.range(0), state.range(1)}];
  if (!one) one = prepare(state.range(0), state.range(1));
  return *one;
}

void decode(benchmark::State& state) {
  const Photo photo = enlarged(sample_with(1) + ".jpg", static_cast<double>(state.range(0)));
  cv::Mat colour;
  cv::cvtColor(photo.grey, colour, cv::COLOR_GRAY2BGR);
  const std::string bytes = encode_jpeg(colour);
  for (auto _ : state) benchmark::DoNotOptimize(decode_photo(bytes, "photo"));
}

void tags(benchmark::State& state) {
  const Prepared& p = prepared(state);
  for (auto _ : state) benchmark::DoNotOptimize(find_tags(p.photo.grey));
}

void bundle_of_tags(benchmark::State& state) {
  const Prepared& p = prepared(state);
  for (auto _ : state) {
    BundleProblem problem = p.before_stripes;
    benchmark::DoNotOptimize(start_bundle(problem));
  }
}

void bundle_with_stripes(benchmark::State& state) {
  const Prepared& p = prepared(state);
  for (auto _ : state)
    benchmark::DoNotOptimize(fit_bundle(p.look.problem, p.look.field.bundle.parameters,
                                        BundleFreedom::everything, phase_noise(p.look.field)));
}

void stripes(benchmark::State& state) {
  const Prepared& p = prepared(state);
  for (auto _ : state) {
    BundleProblem problem = p.before_stripes;
    benchmark::DoNotOptimize(
        follow_stripes(p.photo.grey, problem, p.look.view->parameters, p.region(), p.look.pixels_per_mm));
  }
}

void residual(benchmark::State& state) {
  const Prepared& p = prepared(state);
  for (auto _ : state)
    benchmark::DoNotOptimize(
        stripe_residual(p.photo.grey, p.look.problem, p.look.field, p.look.pixels_per_mm));
}

void spot_search(benchmark::State& state) {
  const Prepared& p = prepared(state);
  for (auto _ : state) benchmark::DoNotOptimize(find_spots(p.scene));
}

/// The last fits, with the free surface, or without.
void spot_readings(benchmark::State& state, bool free_surface) {
  const Prepared& p = prepared(state);
  MeasureOptions options;
  options.free_surface = free_surface;
  for (auto _ : state)
    benchmark::DoNotOptimize(
        read_spots(p.scene, p.look.field.bundle, p.found.spots, p.request.bar_length_mm, options));
}

void whole(benchmark::State& state) {
  const Prepared& p = prepared(state);
  for (auto _ : state) benchmark::DoNotOptimize(measure(p.photo, p.request));
}

void sizes_and_dents(benchmark::internal::Benchmark* benchmark) {
  benchmark->ArgNames({"megapixels", "dents"})->Unit(benchmark::kMillisecond)->UseRealTime();
  for (const std::int64_t megapixels : {5, 12, 48}) benchmark->Args({megapixels, 1});
  for (const std::int64_t dents : {0, 5}) benchmark->Args({12, dents});
}

void sizes(benchmark::internal::Benchmark* benchmark) {
  benchmark->ArgNames({"megapixels", "dents"})->Unit(benchmark::kMillisecond)->UseRealTime();
  for (const std::int64_t megapixels : {5, 12, 48}) benchmark->Args({megapixels, 1});
}

void some_dents(benchmark::internal::Benchmark* benchmark) {
  benchmark->ArgNames({"megapixels", "dents"})->Unit(benchmark::kMillisecond)->UseRealTime();
  for (const std::int64_t megapixels : {5, 12, 48}) benchmark->Args({megapixels, 1});
  benchmark->Args({12, 5});
}

BENCHMARK(decode)->ArgName("megapixels")->Arg(5)->Arg(12)->Arg(48)->Unit(benchmark::kMillisecond);
BENCHMARK(tags)->Apply(sizes);
BENCHMARK(bundle_of_tags)->Apply(sizes);
BENCHMARK(bundle_with_stripes)->Apply(sizes);
BENCHMARK(stripes)->Apply(sizes);
BENCHMARK(residual)->Apply(sizes);
BENCHMARK(spot_search)->Apply(sizes_and_dents);
BENCHMARK_CAPTURE(spot_readings, with_free_surface, true)->Apply(some_dents);
BENCHMARK_CAPTURE(spot_readings, parametric_only, false)->Apply(some_dents);
BENCHMARK(whole)->Apply(sizes_and_dents);

}  // namespace

BENCHMARK_MAIN();
