// Certified fits of the NIST Statistical Reference Datasets (StRD, www.itl.nist.gov/div898/strd). The data
// are from memory or from public copies, and they reproduce the certified values to all digits with other
// software.
#include <Eigen/Dense>
#include <vector>

#include "catch.hpp"
#include "core/dual.hpp"
#include "core/least_squares.hpp"

using namespace ripplegauge;

namespace {

struct CertifiedFit {
  Eigen::VectorXd b, error;  ///< parameters and their standard deviations
  double residual_deviation = 0;
};

/// Fits y = model(b, row) from a start; the standard deviations are those of JCGM 100's Type A from the
/// residuals.
template <int N, class Row, class Model>
CertifiedFit fit(const std::vector<std::pair<double, Row>>& data, const Model& model,
                 const Eigen::VectorXd& start) {
  const auto equations = [&](const Eigen::VectorXd& b, bool, NormalEquations& out) {
    std::array<Dual<N>, N> p;
    for (int i = 0; i < N; ++i) p[static_cast<std::size_t>(i)] = Dual<N>::variable(b[i], i);
    for (const auto& [y, row] : data) {
      const Dual<N> r = model(p, row) - y;
      out.cost += 0.5 * r.value * r.value;
      out.gradient += r.value * r.gradient;
      const Eigen::VectorXd gradient = r.gradient;  // of any size: GCC 12 warns where a fixed one is 1
      out.hessian += gradient * gradient.transpose();
    }
  };
  CertifiedFit found{start, Eigen::VectorXd::Zero(N)};
  Eigen::MatrixXd hessian;
  const auto summary =
      minimise(equations, found.b, {.max_iterations = 500, .relative_cost_tolerance = 1e-15}, &hessian);
  CHECK(summary.final_cost < summary.initial_cost);
  const double variance = 2 * summary.final_cost / static_cast<double>(data.size() - N);
  found.residual_deviation = std::sqrt(variance);
  found.error = (variance * hessian.ldlt().solve(Eigen::MatrixXd::Identity(N, N)).diagonal()).cwiseSqrt();
  return found;
}

Eigen::VectorXd vector(std::initializer_list<double> values) {
  return Eigen::Map<const Eigen::VectorXd>(values.begin(), static_cast<Eigen::Index>(values.size()));
}

/// Monomolecular adsorption (Misra, 1978): volume and pressure, for Misra1a and Misra1b alike.
const std::vector<std::pair<double, double>> misra1 = {
    {10.07, 77.6},  {14.73, 114.9}, {17.94, 141.1}, {23.93, 190.8}, {29.61, 239.9},
    {35.18, 289.0}, {40.02, 332.8}, {44.82, 378.4}, {50.76, 434.8}, {55.05, 477.3},
    {61.01, 536.8}, {66.40, 593.1}, {75.47, 689.1}, {81.78, 760.0}};

/// Two Gaussians on a falling exponential (Rust, 1996), at x = 1 ... 250.
const double gauss1[] = {
    97.62227, 97.80724, 96.62247, 92.59022, 91.23869, 95.32704, 90.3504,  89.46235, 91.7252,  89.86916,
    86.88076, 85.9436,  87.60686, 86.25839, 80.74976, 83.03551, 88.25837, 82.01316, 82.74098, 83.30034,
    81.2785,  81.85506, 80.75195, 80.09573, 81.07633, 78.81542, 78.38596, 79.93386, 79.48474, 79.95942,
    76.10691, 78.3983,  81.4306,  82.48867, 81.65462, 80.84323, 88.68663, 84.74438, 86.83934, 85.97739,
    91.28509, 97.22411, 93.51733, 94.10159, 101.9176, 98.43134, 110.4214, 107.6628, 111.7288, 116.5115,
    120.7609, 123.9553, 124.2437, 130.7996, 133.296,  130.7788, 132.0565, 138.6584, 142.9252, 142.7215,
    144.1249, 147.4377, 148.2647, 152.0519, 147.3863, 149.2074, 148.9537, 144.5876, 148.1226, 148.0144,
    143.8893, 140.9088, 143.4434, 139.3938, 135.9878, 136.3927, 126.7262, 124.4487, 122.8647, 113.8557,
    113.7037, 106.8407, 107.0034, 102.4629, 96.09296, 94.57555, 86.98824, 84.90154, 81.18023, 76.40117,
    67.092,   72.67155, 68.10848, 67.99088, 63.34094, 60.55253, 56.18687, 53.64482, 53.70307, 48.07893,
    42.21258, 45.65181, 41.69728, 41.24946, 39.21349, 37.71696, 36.68395, 37.30393, 37.43277, 37.45012,
    32.64648, 31.84347, 31.39951, 26.68912, 32.25323, 27.61008, 33.58649, 28.10714, 30.26428, 28.01648,
    29.11021, 23.02099, 25.65091, 28.50295, 25.23701, 26.13828, 33.5326,  29.25195, 27.09847, 26.52999,
    25.52401, 26.69218, 24.55269, 27.71763, 25.20297, 25.61483, 25.06893, 27.6393,  24.94851, 25.86806,
    22.48183, 26.90045, 25.39919, 17.90614, 23.76039, 25.89689, 27.64231, 22.86101, 26.47003, 23.72888,
    27.54334, 30.52683, 28.07261, 34.92815, 28.29194, 34.19161, 35.41207, 37.09336, 40.9833,  39.53923,
    47.80123, 47.46305, 51.04166, 54.58065, 57.53001, 61.42089, 62.79032, 68.51455, 70.23053, 74.42776,
    76.59911, 81.62053, 83.42208, 79.17451, 88.56985, 85.66525, 86.55502, 90.65907, 84.2729,  85.7222,
    83.10702, 82.16884, 80.42568, 78.15692, 79.79691, 77.84378, 74.50327, 71.57289, 65.88031, 65.01385,
    60.19582, 59.66726, 52.95478, 53.87792, 44.91274, 41.09909, 41.68018, 34.53379, 34.86419, 33.14787,
    29.58864, 27.29462, 21.91439, 19.08159, 24.9029,  19.82341, 16.75551, 18.24558, 17.23549, 16.34934,
    13.71285, 14.75676, 13.97169, 12.42867, 14.35519, 7.703309, 10.23441, 11.78315, 13.87768, 4.5357,
    10.05928, 8.424824, 10.53312, 9.602255, 7.877514, 6.258121, 8.899865, 7.877754, 12.51191, 10.66205,
    6.0354,   6.790655, 8.783535, 4.600288, 8.400915, 7.216561, 10.01741, 7.331278, 6.527863, 2.842001,
    10.32507, 4.790995, 8.377101, 6.264445, 2.706213, 8.362329, 8.983658, 3.362571, 1.182746, 4.875359};

}  // namespace

TEST_CASE("NIST Misra1a and Misra1b: certified non-linear fits", "[least_squares]") {
  SECTION("Misra1a") {
    const auto model = [](const auto& b, double x) { return b[0] * (1.0 - exp(-1.0 * b[1] * x)); };
    const CertifiedFit found = fit<2>(misra1, model, vector({500, 1e-4}));  // NIST's start 1
    CHECK(found.b[0] == Approx(238.94212918).epsilon(1e-8));
    CHECK(found.b[1] == Approx(5.50156431e-4).epsilon(1e-8));
    CHECK(found.error[0] == Approx(2.7070075241).epsilon(1e-7));
  }
  SECTION("Misra1b") {
    const auto model = [](const auto& b, double x) {
      const auto rest = 1.0 + 0.5 * x * b[1];
      return b[0] * (1.0 - 1.0 / (rest * rest));
    };
    const CertifiedFit found = fit<2>(misra1, model, vector({500, 1e-4}));
    CHECK(found.b[0] == Approx(337.99746163).epsilon(1e-8));
    CHECK(found.b[1] == Approx(3.9039091287e-4).epsilon(1e-8));
  }
}

TEST_CASE("NIST Gauss1: certified fit of two Gaussians, as of a dent's profile", "[least_squares]") {
  // b5^2 = 2 sigma^2.
  std::vector<std::pair<double, double>> data;
  for (const double y : gauss1) data.emplace_back(y, 1.0 + static_cast<double>(data.size()));
  REQUIRE(data.size() == 250);
  const auto hill = [](const auto& height, const auto& middle, const auto& width, double x) {
    const auto off = (x - middle) / width;
    return height * exp(-1.0 * off * off);
  };
  const auto model = [&](const auto& b, double x) {
    return b[0] * exp(-1.0 * b[1] * x) + hill(b[2], b[3], b[4], x) + hill(b[5], b[6], b[7], x);
  };
  const CertifiedFit found =
      fit<8>(data, model, vector({97, 0.009, 100, 65, 20, 70, 178, 16.5}));  // NIST's start 1
  CHECK(found.b[2] == Approx(100.48990633).epsilon(1e-8));
  CHECK(found.b[3] == Approx(67.481111276).epsilon(1e-9));
  CHECK(found.b[4] == Approx(23.129773360).epsilon(1e-8));
  CHECK(found.b[5] == Approx(71.994503004).epsilon(1e-8));
  CHECK(found.b[6] == Approx(178.99805021).epsilon(1e-9));
}

TEST_CASE("NIST NoInt1: a line through zero, as of a scale factor", "[least_squares]") {
  std::vector<std::pair<double, double>> data;
  for (int i = 0; i <= 10; ++i) data.emplace_back(130 + i, 60 + i);
  const CertifiedFit found = fit<1>(
      data, [](const auto& b, double x) { return b[0] * x; }, vector({1}));
  // A minimum is told from its neighbourhood by the cost: to the root of a double's 16 digits.
  CHECK(found.b[0] == Approx(2.07438016528926).epsilon(1e-8));
  CHECK(found.error[0] == Approx(0.0165289256198347).epsilon(1e-8));
}

TEST_CASE("NIST Longley: seven nearly dependent unknowns", "[least_squares]") {
  // Employment from price index, product, unemployed, soldiers, population and year (J. W. Longley, JASA
  // 62:819, 1967). Normal equations square the condition number, which is 5e9 for columns as they are and 4e4
  // for columns of equal size: Cholesky's factorisation loses what the latter says (A. van der Sluis, Numer.
  // Math. 14:14, 1969), some nine digits.
  const std::vector<std::pair<double, std::array<double, 7>>> longley = {
      {60323, {1, 83, 234289, 2356, 1590, 107608, 1947}},
      {61122, {1, 88.5, 259426, 2325, 1456, 108632, 1948}},
      {60171, {1, 88.2, 258054, 3682, 1616, 109773, 1949}},
      {61187, {1, 89.5, 284599, 3351, 1650, 110929, 1950}},
      {63221, {1, 96.2, 328975, 2099, 3099, 112075, 1951}},
      {63639, {1, 98.1, 346999, 1932, 3594, 113270, 1952}},
      {64989, {1, 99, 365385, 1870, 3547, 115094, 1953}},
      {63761, {1, 100, 363112, 3578, 3350, 116219, 1954}},
      {66019, {1, 101.2, 397469, 2904, 3048, 117388, 1955}},
      {67857, {1, 104.6, 419180, 2822, 2857, 118734, 1956}},
      {68169, {1, 108.4, 442769, 2936, 2798, 120445, 1957}},
      {66513, {1, 110.8, 444546, 4681, 2637, 121950, 1958}},
      {68655, {1, 112.6, 482704, 3813, 2552, 123366, 1959}},
      {69564, {1, 114.2, 502601, 3931, 2514, 125368, 1960}},
      {69331, {1, 115.7, 518173, 4806, 2572, 127852, 1961}},
      {70551, {1, 116.9, 554894, 4007, 2827, 130081, 1962}}};
  const auto model = [](const auto& b, const std::array<double, 7>& row) {
    auto sum = b[0] * row[0];
    for (std::size_t i = 1; i < 7; ++i) sum = sum + b[i] * row[i];
    return sum;
  };
  const CertifiedFit found = fit<7>(longley, model, Eigen::VectorXd::Zero(7));
  CHECK(found.b[0] == Approx(-3482258.63459582).epsilon(1e-6));
  CHECK(found.b[1] == Approx(15.0618722713733).epsilon(1e-6));
  CHECK(found.residual_deviation == Approx(304.854073561965).epsilon(1e-9));
}
