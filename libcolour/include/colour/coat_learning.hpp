// What a shop's own coat tests teach about the shift from dry to finished.
//
// For each material and schedule with tests: the physical parameters of colour/coating.hpp at their most probable values under the prior
// (Gauss-Newton; the tests' residuals counted by Student's t, so that a blotchy coat does not rule), and on top a residual in CIELAB
// that is linear in the dry colour and the ground's lightness and shrinks to nothing where the tests ask for none (ridge). The covariance is
// Laplace's: that of both together, and the scatter that is left. Materials do not borrow from each other. Metallic is not learned: it keeps its colour.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "colour/coating.hpp"

namespace bindhue {

// One thread, wound in one layer over a ground and coated; all three colours as CIELAB, D50, 2-degree: dry as on the spool, the ground bare.
// Covariances of zero: not known; then what the readings err by is part of the scatter between tests.
struct CoatTest {
    Material material = Material::nylon;
    Schedule schedule = Schedule::finish;
    double size_mm = 0.15;
    Lab<D50> ground, dry, finished;
    Matrix3 ground_covariance{}, dry_covariance{}, finished_covariance{};
};

// What the tests of one material and schedule taught.
struct CoatLesson {
    Material material = Material::nylon;
    Schedule schedule = Schedule::finish;
    std::size_t tests = 0;
    CoatingParameters prior, learned;
    // Scattering, scattering ratio, absorption ratio, contact, haze: how far learned lies from the prior, and how sure that is, both in the prior's
    // standard deviations (1: as unsure as before; the tests say nothing of it).
    std::array<double, 5> moved_by{}, spread{};
    double scatter = 0;  // standard deviation that is left between tests and model in each of L, a and b
};

class CoatModel {
  public:
    CoatModel() = default;  // nothing learned: the prior
    explicit CoatModel(std::span<const CoatTest> tests);

    // How many tests this material and schedule have. None: predict() is predict_finished().
    std::size_t tests(Material material, Schedule schedule) const;

    // In the order of materials and schedules.
    std::vector<CoatLesson> lessons() const;

    // Tests that the others contradict (a blotchy coat, the wrong spool), as indices into what was given.
    const std::vector<std::size_t>& outliers() const { return outliers_; }

    // As predict_finished, with what was learned; a thread's own opacity counts beside what the tests say of its material. Errors: the same.
    Result<Reading> predict(Material material, Schedule schedule, double size_mm, const Reading& dry,
                            const Reading& ground, const std::optional<LayerOpacity>& opacity = {}) const;

    // The same in parts, for ranking many: precondition, size_mm and opacity in range.
    Lab<D50> predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry,
                            const Surface& ground, const std::optional<LayerOpacity>& opacity = {}) const;
    FinishedCovariance predicted_covariance(Material material, Schedule schedule, double size_mm,
                                            const Surface& dry, const Surface& ground,
                                            const std::optional<LayerOpacity>& opacity = {}) const;

  private:
    static constexpr std::size_t size = 20;  // five physical unknowns, five weights on each axis
    struct Learned {
        Material material = Material::nylon;
        Schedule schedule = Schedule::finish;
        std::size_t tests = 0;
        std::array<double, size> at{};                    // prior standard deviations; then the residual's weights
        std::array<double, size * size> covariance{};
        double scatter = 0;                                   // variance left in each of L, a and b
    };
    const Learned* find(Material material, Schedule schedule) const;
    static Learned knowing(Learned learned, double size_mm, const std::optional<LayerOpacity>& opacity);

    std::vector<Learned> learned_;
    std::vector<std::size_t> outliers_;
};

}  // namespace bindhue
