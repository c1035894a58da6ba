#include "sheet/page_layout.hpp"

#include "shop/atomic_file.hpp"

namespace bindhue::capture {
namespace {

std::string one(double value) { return number("%.1f", value); }

}  // namespace

PaperSize upright(Paper paper) { return paper == Paper::a4 ? PaperSize{210, 297} : PaperSize{215.9, 279.4}; }

std::string broken(const std::string& text, double width_mm, double size) {
    double widest = 0;
    std::size_t longest = 0;
    on_scrap([&](Pen& pen) {
        for (std::size_t at = 0; at < text.size();) {
            const std::size_t end = std::min(text.find(' ', at), text.size());
            if (const double wide = pen.width_of(text.substr(at, end - at), size); wide > widest) {
                widest = wide;
                longest = end - at;
            }
            at = end + 1;
        }
    });
    if (widest <= width_mm) return text;
    const auto most = std::max<std::size_t>(1, static_cast<std::size_t>(0.6 * static_cast<double>(longest) * width_mm / widest));
    std::string out;
    std::size_t run = 0;
    for (const char c : text) {
        const bool starts = (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
        if (c == ' ') {
            run = 0;
        } else if (starts && ++run > most) {
            out += ' ';
            run = 1;
        }
        out += c;
    }
    return out;
}

std::string escaped(const std::string& text) {
    std::string out;
    for (const char c : text) {
        switch (c) {
            case '&': out += "&amp;"; break;
            case '<': out += "&lt;"; break;
            case '>': out += "&gt;"; break;
            case '"': out += "&quot;"; break;
            default: out += c;
        }
    }
    return out;
}

std::string html_opening(const std::string& title) {
    return "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" "
        "content=\"width=device-width, initial-scale=1\">\n<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
        "style-src 'unsafe-inline'\">\n<title>" + escaped(title) + "</title>\n<style>body{font:11pt/1.4 system-ui,sans-serif;"
        "margin:1.5rem auto;max-width:50rem;padding:0 1rem;color:#000;background:#fff}h2{font-size:1.05rem;margin:1rem 0 .3rem}"
        "table{border-collapse:collapse;width:100%}th,td{border-bottom:1px solid #999;text-align:left;padding:.25rem .4rem;vertical-align:top}"
        ".wide{overflow-x:auto}ol,ul{padding-left:1.3rem;margin:.2rem 0}svg{width:100%;height:auto;display:block}"
        "svg rect{stroke:#333;stroke-width:.3}svg text{font-size:4px;text-anchor:middle}.tick{list-style:none;padding:0}"
        ".tick li::before{content:'\\2610\\00a0\\00a0'}.blanks{display:grid;grid-template-columns:repeat(auto-fill,minmax(14rem,1fr));gap:1rem}"
        ".blanks span{border-bottom:1px solid #000;padding-bottom:.2rem}h3{font-size:1rem;margin:.8rem 0 .2rem}p{margin:.2rem 0}.pair{max-width:22rem}</style></head>\n<body>\n<h1>" +
           escaped(title) + "</h1>\n";
}

std::string svg_of_strip(const Strip& strip, const std::string& name) {
    constexpr double least_mm = 120;  // of the width: a lone wrap is not drawn like a barrel
    const double h = strip.across() + 12;
    std::string out = "<svg role=\"img\" aria-label=\"" + escaped(name) + "\" viewBox=\"" + one(strip.begin()) + " 0 " + one(std::max(least_mm, strip.length())) +
                      " " + one(h) + "\">";
    for (const Strip::Part& part : strip.parts) {
        out += "<rect x=\"" + one(part.begin_mm) + "\" y=\"" + one((h - part.diameter_mm) / 2) + "\" width=\"" + one(part.length_mm) +
               "\" height=\"" + one(part.diameter_mm) + "\" fill=\"" + (part.colour ? screen_hex(*part.colour) : "none") + "\"/>";
        const std::string x = one(part.begin_mm + part.length_mm / 2);
        if (!part.above.empty()) out += "<text x=\"" + x + "\" y=\"" + one((h - strip.across()) / 2 - 1) + "\">" + escaped(part.above) + "</text>";
        if (!part.below.empty()) out += "<text x=\"" + x + "\" y=\"" + one((h + strip.across()) / 2 + 4) + "\">" + escaped(part.below) + "</text>";
    }
    return out + "</svg>\n";
}

Status write_page(const std::filesystem::path& path, Paper paper, const std::function<std::string()>& html,
                  const std::function<Result<std::string>(Paper)>& pdf) {
    const std::string ending = path.extension().string();
    if (ending == ".html") return save_file(path, html(), Previous::forgotten);
    if (ending != ".pdf")
        return Error{Reason::bad_value, "the sheet is written as PDF or HTML only", path.string(), "let the name end in .pdf or .html"};
    const Result<std::string> text = pdf(paper);
    return text ? save_file(path, *text, Previous::forgotten) : Status(text.error());
}

}  // namespace bindhue::capture
