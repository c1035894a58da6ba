#include "sheet/pen.hpp"

#include <cairo-pdf.h>
#include <cairo-svg.h>

#include <memory>

namespace bindhue::capture {
namespace {

constexpr double points_per_mm = 72 / 25.4;

cairo_status_t append(void* text, const unsigned char* data, unsigned int size) {
    static_cast<std::string*>(text)->append(reinterpret_cast<const char*>(data), size);
    return CAIRO_STATUS_SUCCESS;
}

using Surface = std::unique_ptr<cairo_surface_t, decltype(&cairo_surface_destroy)>;
using Context = std::unique_ptr<cairo_t, decltype(&cairo_destroy)>;

Status draw(cairo_surface_t* surface, double units_per_mm, const std::vector<Page>& pages) {
    const Context cairo(cairo_create(surface), cairo_destroy);
    cairo_scale(cairo.get(), units_per_mm, units_per_mm);
    for (const Page& page : pages) {
        Pen pen(cairo.get());
        page(pen);
        cairo_show_page(cairo.get());
    }
    const cairo_status_t drawn = cairo_status(cairo.get());
    cairo_surface_finish(surface);
    const cairo_status_t finished = cairo_surface_status(surface);
    if (drawn == CAIRO_STATUS_SUCCESS && finished == CAIRO_STATUS_SUCCESS) return ok();
    const cairo_status_t wrong = drawn != CAIRO_STATUS_SUCCESS ? drawn : finished;
    return Error{Reason::bad_value,
                 std::string("The sheet cannot be drawn (") + cairo_status_to_string(wrong) + ").", "",
                 "Check the texts of the file."};
}

}  // namespace

void on_scrap(const Page& page) {
    const Surface surface(cairo_recording_surface_create(CAIRO_CONTENT_ALPHA, nullptr), cairo_surface_destroy);
    const Context cairo(cairo_create(surface.get()), cairo_destroy);
    Pen pen(cairo.get());
    page(pen);
}

Result<std::string> pdf_of(const std::vector<Page>& pages, double width_mm, double height_mm, const std::string& title) {
    std::string out;
    const Surface surface(
        cairo_pdf_surface_create_for_stream(append, &out, width_mm * points_per_mm, height_mm * points_per_mm),
        cairo_surface_destroy);
    cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, title.c_str());
    if (const Status drawn = draw(surface.get(), points_per_mm, pages); !drawn) return drawn.error();
    return out;
}

Result<std::vector<std::string>> svg_of(const std::vector<Page>& pages, double width_mm, double height_mm) {
    std::vector<std::string> out;
    for (const Page& page : pages) {
        std::string document;
        const Surface surface(cairo_svg_surface_create_for_stream(append, &document, width_mm, height_mm),
                              cairo_surface_destroy);
        cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_MM);
        if (const Status drawn = draw(surface.get(), 1, {page}); !drawn) return drawn.error();
        out.push_back(std::move(document));
    }
    return out;
}

}  // namespace bindhue::capture
